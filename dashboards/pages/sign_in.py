"""Sign-in."""

from __future__ import annotations

from typing import Any

from django.contrib.auth.forms import AuthenticationForm
from django.contrib.auth.views import LoginView
from django.http import HttpResponse

from .. import sign_in_throttle as throttle


class SignInPage(LoginView):
    """The form that asks for user name and password, with a pause after wrong ones."""

    template_name = "dashboards/sign_in.html"
    redirect_authenticated_user = True

    def post(self, request: Any, *args: Any, **kwargs: Any) -> HttpResponse:
        """Refuse while paused, before the password is looked at."""
        if throttle.is_paused(**self._who()):
            return self._paused()
        return super().post(request, *args, **kwargs)

    def form_valid(self, form: AuthenticationForm) -> HttpResponse:
        """Sign in and forget the wrong tries."""
        throttle.forget(**self._who())
        return super().form_valid(form)

    def form_invalid(self, form: AuthenticationForm) -> HttpResponse:
        """Count the wrong try and show the form again."""
        throttle.count_wrong(**self._who())
        response = super().form_invalid(form)
        response.status_code = 422
        return response

    def _who(self) -> dict[str, str]:
        return {
            "username": self.request.POST.get("username", ""),
            "address": self.request.META.get("REMOTE_ADDR", ""),
        }

    def _paused(self) -> HttpResponse:
        form = AuthenticationForm(self.request)
        form.fields["username"].initial = self.request.POST.get("username", "")
        minutes = throttle.PAUSE_SECONDS // 60
        response = self.render_to_response(
            self.get_context_data(form=form, paused_minutes=minutes), status=429
        )
        response["Retry-After"] = str(throttle.PAUSE_SECONDS)
        return response
