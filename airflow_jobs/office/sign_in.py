"""Sign-in: user name and password, and a one-time code from those who have codes on.

There is no other door: the administration's own leads here, and the API asks for the same.
"""

from __future__ import annotations

import time
from typing import Any, Final

from django.contrib.auth import REDIRECT_FIELD_NAME, login
from django.contrib.auth.forms import AuthenticationForm
from django.contrib.auth.views import LoginView, RedirectURLMixin, redirect_to_login
from django.core.exceptions import PermissionDenied
from django.http import HttpRequest, HttpResponse, HttpResponseRedirect
from django.urls import reverse
from django.utils.crypto import constant_time_compare
from django.utils.decorators import method_decorator
from django.utils.http import urlencode
from django.views.decorators.cache import never_cache
from django.views.decorators.debug import sensitive_post_parameters
from django.views.generic import TemplateView

from airflow_jobs.actions.one_time_codes import CodePaused, CodeWrong, use_code
from airflow_jobs.models import Person

from . import sign_in_throttle as throttle

HALFWAY: Final = "signing_in"
"""Where a session keeps who has shown the password but no code yet."""
HALFWAY_SECONDS: Final = 600
BACKEND: Final = "django.contrib.auth.backends.ModelBackend"


class SignInPage(LoginView):
    """The form that asks for user name and password, with a pause after wrong ones."""

    template_name = "office/sign_in.html"
    redirect_authenticated_user = True

    def get_context_data(self, **context: Any) -> dict[str, Any]:
        """Tell whoever took too long over the code why they are here again."""
        return super().get_context_data(is_late="late" in self.request.GET, **context)

    def post(self, request: Any, *args: Any, **kwargs: Any) -> HttpResponse:
        """Refuse while paused, before the password is looked at."""
        if throttle.is_paused(**self._who()):
            return self._paused()
        return super().post(request, *args, **kwargs)

    def form_valid(self, form: AuthenticationForm) -> HttpResponse:
        """Sign in and forget the wrong tries, or go on to the one-time code."""
        person = form.get_user()
        assert isinstance(person, Person)
        if person.needs_one_time_code:
            _remember(self.request, person)
            return HttpResponseRedirect(_with_next("sign-in-code", self.get_redirect_url()))
        throttle.forget(**self._who())
        return super().form_valid(form)

    def form_invalid(self, form: AuthenticationForm) -> HttpResponse:
        """Count the wrong try and show the form again."""
        throttle.count_wrong(**self._who())
        response = super().form_invalid(form)
        response.status_code = 422
        return response

    def _who(self) -> dict[str, str]:
        return throttle.who(self.request, self.request.POST.get("username", ""))

    def _paused(self) -> HttpResponse:
        form = AuthenticationForm(self.request)
        form.fields["username"].initial = self.request.POST.get("username", "")
        minutes = throttle.PAUSE_SECONDS // 60
        response = self.render_to_response(
            self.get_context_data(form=form, paused_minutes=minutes), status=429
        )
        response["Retry-After"] = str(throttle.PAUSE_SECONDS)
        return response


@method_decorator([sensitive_post_parameters("code", "recovery_code"), never_cache], "dispatch")
class CodePage(RedirectURLMixin, TemplateView):
    """The form that asks who has shown the right password for the one-time code."""

    template_name = "office/sign_in_code.html"
    http_method_names = ["get", "head", "post"]

    def get_default_redirect_url(self) -> str:
        """Lead to the fleet where nothing else was asked for."""
        return reverse("fleet")

    def get(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        """Ask for the code."""
        if request.user.is_authenticated:
            return HttpResponseRedirect(self.get_success_url())
        if _halfway(request) is None:
            return self._from_the_start()
        return self._asked()

    def post(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        """Sign in with a code that is good, or ask again."""
        person = _halfway(request)
        if person is None:
            return self._from_the_start()
        who = throttle.who(request, person.username)
        if throttle.is_paused(**who):
            return self._paused(throttle.PAUSE_SECONDS)
        recovery = request.POST.get("recovery_code", "")
        try:
            use_code(person=person, code=recovery or request.POST.get("code", ""))
        except CodePaused as pause:
            return self._paused(pause.wait_s)
        except CodeWrong:
            throttle.count_wrong(**who)
            return self._asked(status=422, is_wrong=True, is_recovery=bool(recovery))
        del request.session[HALFWAY]
        throttle.forget(**who)
        login(request, person, backend=BACKEND)
        return HttpResponseRedirect(self.get_success_url())

    def _asked(self, *, status: int = 200, **context: Any) -> HttpResponse:
        return self.render_to_response({"next": self.get_redirect_url(), **context}, status=status)

    def _paused(self, seconds: int) -> HttpResponse:
        response = self._asked(status=429, paused=_in_words(seconds))
        response["Retry-After"] = str(seconds)
        return response

    def _from_the_start(self) -> HttpResponse:
        return HttpResponseRedirect(_with_next("sign-in", self.get_redirect_url(), late=1))


@never_cache
def to_sign_in(request: HttpRequest, **_: Any) -> HttpResponse:
    """Lead from the administration's own sign-in to the one there is."""
    if request.user.is_authenticated:
        # Whoever comes here signed in is no administrator; asking again would lead round in rings.
        raise PermissionDenied
    return redirect_to_login(request.GET.get(REDIRECT_FIELD_NAME, reverse("admin:index")))


def _remember(request: HttpRequest, person: Person) -> None:
    """Remember who has shown the password, under a session key that nobody knew before."""
    request.session.cycle_key()
    request.session[HALFWAY] = {
        "person": str(person.pk),
        "hash": person.get_session_auth_hash(),
        "until": time.time() + HALFWAY_SECONDS,
    }


def _halfway(request: HttpRequest) -> Person | None:
    """Return who has shown the password lately, if it is still the password."""
    kept = request.session.get(HALFWAY)
    if not kept or kept["until"] < time.time():
        return None
    person = Person.objects.filter(pk=kept["person"], is_active=True).first()
    if person is None or not constant_time_compare(person.get_session_auth_hash(), kept["hash"]):
        return None
    return person


def _with_next(name: str, address: str, **more: Any) -> str:
    query = {**more, **({REDIRECT_FIELD_NAME: address} if address else {})}
    return f"{reverse(name)}?{urlencode(query)}" if query else reverse(name)


def _in_words(seconds: int) -> str:
    if seconds < 120:
        return f"{seconds} second{'' if seconds == 1 else 's'}"
    return f"{-(-seconds // 60)} minutes"
