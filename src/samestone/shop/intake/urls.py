"""Where the take-in is."""

from __future__ import annotations

from django.urls import path

from samestone.shop.intake import views

urlpatterns = [
    path("take-in/", views.open_job, name="new-job"),
    path("job/<str:envelope>/", views.show_job, name="job"),
    path("job/<str:envelope>/take-in/", views.continue_take_in, name="take-in-next"),
    path("job/<str:envelope>/take-in/<str:question>/", views.ask, name="take-in"),
    path("job/<str:envelope>/marks/", views.place_mark, name="place-mark"),
    path("job/<str:envelope>/no-damage/", views.no_damage, name="no-damage"),
    path("job/<str:envelope>/claws/", views.place_claws, name="place-claws"),
    path("mark/<int:pk>/take-back/", views.take_back_mark, name="take-back-mark"),
    path("job/<str:envelope>/leave-uncleaned/", views.leave_uncleaned, name="leave-uncleaned"),
    path("job/<str:envelope>/notice/", views.write_notice, name="write-notice"),
    path("job/<str:envelope>/finish-take-in/", views.finish_take_in, name="finish-take-in"),
    path("job/<str:envelope>/ready-at-once/", views.ready_at_once, name="ready-at-once"),
    path("job/<str:envelope>/first-record/", views.show_first_record, name="show-first-record"),
    path("job/<str:envelope>/resume/", views.resume, name="resume"),
    path("job/<str:envelope>/receipt.pdf", views.show_receipt, name="receipt"),
    path("job/<str:envelope>/give-receipt/", views.give_receipt, name="give-receipt"),
    path("job/<str:envelope>/label.pdf", views.show_label, name="label"),
]
