"""Coming in and going out: Django's own sign-in, in our words."""

from django.contrib.auth.views import LoginView, LogoutView

sign_in = LoginView.as_view(template_name="labresults/sign_in.html", redirect_authenticated_user=True)
sign_out = LogoutView.as_view(http_method_names=["post", "options"])
