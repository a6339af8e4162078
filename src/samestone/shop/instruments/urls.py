"""Where the instruments are."""

from __future__ import annotations

from django.urls import path

from samestone.shop.instruments import views

urlpatterns = [
    path("instruments/", views.show_instruments, name="instruments"),
    path("instruments/new/", views.add_instrument, name="new-instrument"),
    path("instruments/<int:pk>/", views.show_diary, name="instrument"),
    path("instruments/<int:pk>/check/<slug:kind>/", views.check, name="check-instrument"),
    path("instruments/<int:pk>/study/", views.study, name="gauge-study"),
    path("instruments/<int:pk>/use-repeats/", views.use_repeats, name="use-repeats"),
    path("instruments/<int:pk>/retire/", views.retire, name="retire-instrument"),
]
