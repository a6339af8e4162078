"""Where the pick-up is."""

from __future__ import annotations

from django.urls import path

from samestone.shop.pickup import views

urlpatterns = [
    path("job/<str:envelope>/pick-up/", views.show_pick_up, name="pick-up"),
    path("job/<str:envelope>/pick-up/expert/", views.show_expert, name="expert"),
    path("job/<str:envelope>/client/", views.show_client_view, name="client-view"),
    path("stone/<int:pk>/judge/", views.judge, name="judge"),
    path("mark/<int:pk>/looked-for/", views.look_for_mark, name="look-for-mark"),
    path("job/<str:envelope>/pick-up/accept/", views.accept, name="accept-uncertainty"),
    path("job/<str:envelope>/pick-up/stop/", views.stop, name="stop"),
    path("job/<str:envelope>/pick-up/hand-over/", views.release, name="release"),
    path("job/<str:envelope>/statement.pdf", views.show_statement, name="statement"),
    path("job/<str:envelope>/packet.zip", views.show_packet, name="packet"),
]
