"""Where everything is. Each stage keeps its own addresses."""

from __future__ import annotations

from django.contrib.auth.views import LogoutView
from django.urls import include, path

from samestone.shop.site import views
from samestone.shop.site.settings import STAGES

urlpatterns = [
    path("", views.show_counter, name="counter"),
    path("first-start/", views.start_shop, name="first-start"),
    path("sign-in/", views.SignIn.as_view(), name="sign-in"),
    path("sign-out/", LogoutView.as_view(), name="sign-out"),
    path("people/", views.show_people, name="people"),
    path("people/<int:pk>/let-go/", views.let_go, name="let-go"),
    path("shop/", views.describe_shop, name="shop"),
    path("photograph/<int:pk>/", views.show_photograph, name="photograph"),
    *(path("", include(f"samestone.shop.{stage}.urls")) for stage in STAGES),
]
