"""Where the records are."""

from __future__ import annotations

from django.urls import path

from samestone.shop.records import stone_views, views

urlpatterns = [
    path("records/", views.find_records, name="records"),
    path("records/stray/", stone_views.search_stray, name="stray-stone"),
    path("records/calibration/", stone_views.show_calibration, name="calibration"),
    path("records/uncollected/", views.show_uncollected, name="uncollected"),
    path("records/retention/", views.show_retention, name="retention"),
    path("person/<int:pk>/", views.show_person, name="person"),
    path("person/<int:pk>/forget/", views.forget_person, name="forget-person"),
    path("job/<str:envelope>/reminded/", views.note_attempt, name="note-attempt"),
    path("job/<str:envelope>/grams/", views.balance_grams, name="gram-balance"),
    path("job/<str:envelope>/export/", views.export_job, name="export-job"),
    path("stone/<int:pk>/", stone_views.show_visits, name="stone"),
    path("stone/<int:pk>/known/", stone_views.recognise, name="known-stone"),
    path("stone/<int:pk>/weight/", stone_views.show_weight, name="stone-weight"),
    path("stone/<int:pk>/materials/", stone_views.show_materials, name="stone-materials"),
]
