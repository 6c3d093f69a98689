"""From operations to views: who may call, how often, and what every answer carries."""

from collections.abc import Callable, Mapping
from typing import Any, ClassVar, cast

from django.http import HttpResponseBase
from rest_framework.authentication import BaseAuthentication
from rest_framework.negotiation import BaseContentNegotiation
from rest_framework.parsers import BaseParser
from rest_framework.permissions import AllowAny, IsAuthenticated
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.throttling import BaseThrottle
from rest_framework.views import APIView

from scalewitness.api.authentication import check_confirmed, keeper_of
from scalewitness.api.operations import Operation
from scalewitness.api.throttling import THROTTLES
from scalewitness.domain.errors import Fenced, LinkGone, TooManyAttempts
from scalewitness.guessing import WRONG_LINKS, one_link_too_many
from scalewitness.ledger.queries.fence import standing_fence
from scalewitness.rate_limit import address_of
from scalewitness.sign_in.queries import must_set_one_up
from scalewitness.sign_in.services.codes import missing


class OnlyJson(BaseContentNegotiation):
    """There is one representation of everything; ``Accept`` is not asked."""

    def select_parser(self, request: Request, parsers: Any) -> Any:
        wanted = request.content_type.split(";")[0].strip().lower()
        return next((parser for parser in parsers if parser.media_type == wanted), None)

    def select_renderer(
        self, request: Request, renderers: Any, format_suffix: str | None = None
    ) -> tuple[Any, str]:
        return renderers[0], renderers[0].media_type


class Resource(APIView):
    """One path. ``operations`` by lower-case method."""

    operations: ClassVar[Mapping[str, Operation]] = {}
    http_method_names = ["get", "head", "post", "put", "patch", "delete"]  # noqa: RUF012  as Django has it
    content_negotiation_class = OnlyJson

    @property
    def operation(self) -> Operation:
        """The operation asked for; any of them when the method has none, or when the schema
        is made and nothing was asked."""
        asked: Request | None = getattr(self, "request", None)
        method = ((asked and asked.method) or "get").lower().replace("head", "get")
        return self.operations.get(method) or next(iter(self.operations.values()))

    def initial(self, request: Request, *args: Any, **kwargs: Any) -> None:
        super().initial(request, *args, **kwargs)
        asked = self.operation
        self._check_second_factor(request, asked)
        if not asked.is_for_later(request.method or ""):
            return
        check_confirmed(request)
        if not asked.takes_turn and standing_fence():
            raise Fenced()

    def _check_second_factor(self, request: Request, asked: Operation) -> None:
        """Where the operator asks for one, who has none can only sign out."""
        if asked.anonymous or asked.name == "revoke_device":
            return
        if must_set_one_up(keeper_of(request).pk):
            raise missing()

    def get_parsers(self) -> list[BaseParser]:
        return [
            one for one in super().get_parsers() if one.media_type == self.operation.takes_media
        ]

    def get_authenticators(self) -> list[BaseAuthentication]:
        return [] if self.operation.anonymous else super().get_authenticators()

    def get_permissions(self) -> Any:
        return [AllowAny() if self.operation.anonymous else IsAuthenticated()]

    def get_throttles(self) -> list[BaseThrottle]:
        scope = self.operation.throttle
        return [THROTTLES[scope]()] if scope else []

    def finalize_response(
        self, request: Request, response: Response, *args: Any, **kwargs: Any
    ) -> Response:
        answer = super().finalize_response(request, response, *args, **kwargs)
        answer.headers["Cache-Control"] = "private, no-store"
        answer.headers["Referrer-Policy"] = "no-referrer"
        answer.add_post_render_callback(self._let_go)
        return answer

    def _let_go(self, answer: Response) -> None:
        """Once it is in bytes: the answer, its renderer, the request and this view hold each
        other, and would keep all that went into it until the garbage collector comes round."""
        answer.data = None
        vars(answer).pop("renderer_context")
        self.request.parser_context = {}
        del self.response


def resource(**operations: Operation) -> Callable[..., HttpResponseBase]:
    """The view of one path: ``resource(get=list_animals, post=register_animal)``."""
    members = {method: _handler(one) for method, one in operations.items()}
    view = type("ResourceOf", (Resource,), {"operations": operations, **members})
    return cast(type[Resource], view).as_view()


def _handler(one: Operation) -> Callable[..., Response]:
    def handle(view: Resource, request: Request, **path: Any) -> Response:
        try:
            return one.run(request, **path)
        except LinkGone:
            if one_link_too_many(address_of(request)):
                raise TooManyAttempts(retry_after=WRONG_LINKS.seconds) from None
            raise

    return handle
