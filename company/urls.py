"""Addresses of who we are."""

from django.urls import path

from company.views import health, me, shop, sign

urlpatterns = [
    path("sign-in/", sign.sign_in, name="sign-in"),
    path("sign-out/", sign.sign_out, name="sign-out"),
    path("password/", sign.password, name="password"),
    path("me/", me.me, name="me"),
    path("me/tokens/", me.token_make, name="token-make"),
    path("me/tokens/<int:token_id>/withdraw/", me.token_drop, name="token-drop"),
    path("theme/", me.theme, name="theme"),
    path("shop/", shop.shop, name="shop"),
    path("health/", health.health, name="health"),
]
