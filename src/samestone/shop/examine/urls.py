"""Where examinations are."""

from __future__ import annotations

from django.urls import path

from samestone.shop.examine import measure_views, photo_views, views

urlpatterns = [
    path("stone/<int:pk>/examine/<str:occasion>/", views.start, name="start-examination"),
    path("examination/<int:pk>/", views.go_on, name="examination"),
    path("stone/<int:pk>/cleaning/", measure_views.show_cleaning, name="cleaning"),
    path("photograph/<int:pk>/claws/", measure_views.show_claws, name="claws"),
    path("examination/<int:pk>/picture/", photo_views.keep_picture, name="keep-picture"),
    path("examination/<int:pk>/frame/", photo_views.read_frame, name="read-frame"),
    path("examination/<int:pk>/mark/", views.place_characteristic, name="place-characteristic"),
    path("examination/<int:pk>/could-not-look/", views.could_not_look, name="could-not-look"),
    path("examination/<int:pk>/close/", views.finish, name="finish-examination"),
    path("examination/<int:pk>/undo/<str:table>/<int:row>/", views.undo, name="undo-finding"),
    path("examination/<int:pk>/<str:name>/", views.ask, name="examination-question"),
]
