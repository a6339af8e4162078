"""Where the bench is."""

from __future__ import annotations

from django.urls import path

from samestone.shop.bench import views

urlpatterns = [
    path("job/<str:envelope>/bench/", views.show_bench, name="bench"),
    path("job/<str:envelope>/hand-over/", views.take_over, name="hand-over"),
    path("job/<str:envelope>/swap/", views.report_swap, name="report-swap"),
    path("stone/<int:pk>/unset/", views.unset_stone, name="unset-stone"),
    path("stone/<int:pk>/weigh/", views.weigh_stone, name="weigh-stone"),
    path("stone/<int:pk>/turned-out/", views.turned_out, name="turned-out"),
    path("stone/<int:pk>/reset/", views.reset_stone, name="reset-stone"),
    path("job/<str:envelope>/news/", views.send_news, name="send-news"),
    path("job/<str:envelope>/answer/", views.note_answer, name="note-answer"),
    path("job/<str:envelope>/inspected/", views.finish_inspection, name="finish-inspection"),
    path("job/<str:envelope>/ready/", views.make_ready, name="make-ready"),
    path("evening-count/", views.count_evening, name="evening-count"),
]
