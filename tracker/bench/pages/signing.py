"""Who stands at this tablet? Signing in, signing out, and the first owner."""

from __future__ import annotations

from collections.abc import Sequence
from hmac import compare_digest
from threading import Semaphore
from typing import Annotated

from fastapi import APIRouter, Depends, Request
from starlette.datastructures import FormData
from starlette.responses import RedirectResponse, Response

from tracker.bench.kit import PERSON, TABLET, form_of, page, settings_of, signed_in, store_of, text, typed
from tracker.errors import Conflict, TrackerError
from tracker.workflow.accounts import AccountLine, account_of, has_owner, list_accounts, named, pin_is_right
from tracker.workflow.first_owner import make_first_owner
from tracker.workflow.signed_in import SHIFT_LASTS, TABLET_LASTS, begin, end, standing_at
from tracker.workflow.tasting_passes import end_tasting

router = APIRouter()
Form = Annotated[FormData, Depends(form_of)]
WRONG = "The name or the PIN is not right."
KEPT = "kept:"
HYPHENS = "-\u2010\u2011\u2012\u2013\u2212"  # the plain one, and what keyboards and messages make of it
_hashing = Semaphore(2)


@router.get("/sign-in")
def show_sign_in(request: Request) -> Response:
    if not has_owner(store_of(request)):
        return RedirectResponse("/start", status_code=303)
    return ask_who(request)


@router.post("/sign-in")
def sign_in(request: Request, form: Form) -> Response:
    store, pin = store_of(request), text(form, "pin")
    kept = [(name.removeprefix(KEPT), value) for name, value in typed(form) if name.startswith(KEPT)]
    account = _account(request, form)
    tried, address = _counted_under(request, account, text(form, "name"))
    delays = request.app.state.delays
    wait = delays.take(tried, address)
    if wait:
        answer = ask_who(
            request, kept=kept, status=429, said=f"Too many wrong PINs. The next try is taken in {wait} s."
        )
        answer.headers["retry-after"] = str(wait)
        return answer
    with _hashing:
        right = pin_is_right(store, account.person if account else None, pin)
    if account is None or not right:
        return ask_who(request, kept=kept, status=401, said=WRONG)
    delays.right(tried, address)
    by = dict(kept).get("by", "")
    if by and by != str(account.person):  # it would be recorded under a name that did not type it
        said = "This was typed by somebody else, who alone can send it. It stands here until then."
        return ask_who(request, kept=kept, status=409, said=said)
    return _let_in(request, account, kept, _local(text(form, "next")))


@router.post("/sign-out")
def sign_out(request: Request, form: Form) -> Response:
    store, who = store_of(request), signed_in(request)
    end(store, request.cookies.get(PERSON, ""))
    end_tasting(store, request.cookies.get(PERSON, ""))
    answer = RedirectResponse("/taste" if who and who.tasting else "/sign-in", status_code=303)
    answer.delete_cookie(PERSON, path="/")
    if text(form, "tablet"):
        end(store, request.cookies.get(TABLET, ""))
        answer.delete_cookie(TABLET, path="/")
    return answer


@router.get("/start")
def show_start(request: Request) -> Response:
    if has_owner(store_of(request)):
        return RedirectResponse("/sign-in", status_code=303)
    return page(request, "start.html", name="", code="")


@router.post("/start")
def start(request: Request, form: Form) -> Response:
    """The first owner, by the code that the terminal printed."""
    store, name, code = store_of(request), text(form, "name"), text(form, "code")
    address = request.client.host if request.client else ""
    delays = request.app.state.delays
    if has_owner(store):
        raise Conflict("This kitchen has an owner.", where="start", try_this="sign in")
    wait = delays.take("the first owner", address)
    if wait:
        said = f"Too many wrong codes. The next try is taken in {wait} s."
        return page(request, "start.html", status=429, name=name, code="", said=said)
    wanted = request.app.state.first_code
    if not wanted or not compare_digest(_plain(code).encode(), _plain(wanted).encode()):
        said = "That is not the code in the terminal where the bench was started."
        return page(request, "start.html", status=403, name=name, code="", said=said)
    delays.right("the first owner", address)
    try:
        account = make_first_owner(store, name, text(form, "pin"))
    except TrackerError as error:
        return page(request, "start.html", status=422, name=name, code=code, said=error.what)
    request.app.state.first_code = ""
    return _let_in(request, account, [], "/")


def _plain(code: str) -> str:
    """A code as it is compared: people leave out its hyphen, type a space for it, or small letters."""
    return "".join(sign for sign in code if not sign.isspace() and sign not in HYPHENS).upper()


def ask_who(
    request: Request, *, kept: Sequence[tuple[str, str]] = (), status: int = 200, said: str | None = None
) -> Response:
    """The page that asks for a name and a PIN; ``kept`` is what was typed when the session had ended."""
    store = store_of(request)
    known = _known(request)
    people = list_accounts(store) if known else ()
    chosen = request.query_params.get("person", "")
    person = next((line for line in people if str(line.person) == chosen), None)
    here = request.url.path
    carried = list(kept)
    if kept and not any(name == "path" for name, _ in kept):
        carried.insert(0, ("path", here))
    asked = f"{here}?{request.url.query}" if request.url.query else here  # what was answered may stand in the address
    after = "" if here.startswith("/sign-") or kept else asked
    return page(
        request,
        "sign_in.html",
        status=status,
        known=known,
        people=people,
        person=person,
        kept=[(KEPT + name, value) for name, value in carried],
        next=_local(request.query_params.get("next", "")) if here == "/sign-in" else after,
        said=said,
        who=None,
        menu=(),
    )


def _account(request: Request, form: FormData) -> AccountLine | None:
    """By number on a tablet that is known, by name on any other: strangers learn no names here."""
    store, number = store_of(request), text(form, "person")
    if _known(request) and number.isascii() and number.isdigit() and len(number) < 10:
        return account_of(store, int(number))
    return named(store, text(form, "name"))


def not_proven(request: Request, who: AccountLine, pin: str) -> tuple[int, str] | None:
    """Why whoever stands here is not believed to be ``who``, as status and words: they may have left the tablet."""
    tried, address = _counted_under(request, who, "")
    delays = request.app.state.delays
    wait = delays.take(tried, address)
    if wait:
        return 429, f"Too many wrong PINs. The next try is taken in {wait} s."
    with _hashing:
        right = pin_is_right(store_of(request), who.person, pin)
    if not right:
        return 422, "That is not your PIN as it is now."
    delays.right(tried, address)
    return None


def _counted_under(request: Request, account: AccountLine | None, name: str) -> tuple[str, str]:
    """What a wrong PIN counts against: who was meant, and the address.

    Tablets that somebody signed in on before are counted apart: a stranger who guesses keeps nobody from their work.
    """
    where = " at a known tablet" if _known(request) else ""
    who = str(account.person) if account else "nobody " + " ".join(name.split())[:80]
    address = request.client.host if request.client else ""
    return who + where, address + where


def _known(request: Request) -> bool:
    return standing_at(store_of(request), "device", request.cookies.get(TABLET, "")) is not None


def _let_in(request: Request, account: AccountLine, kept: list[tuple[str, str]], after: str) -> Response:
    store, settings = store_of(request), settings_of(request)
    if signed_in(request) is not None:
        end(store, request.cookies.get(PERSON, ""))
    request.state.who = account
    if kept:
        path = _local(dict(kept).get("path", "/"))
        answer: Response = page(request, "again.html", kept=[pair for pair in kept if pair[0] != "path"], again=path)
    else:
        home = "/" if account.may("baker") else "/taste"
        answer = RedirectResponse(after if after not in ("", "/") else home, status_code=303)
    secrets = [(PERSON, begin(store, "person", account.person), SHIFT_LASTS)]
    if not _known(request):
        secrets.append((TABLET, begin(store, "device", account.person), TABLET_LASTS))
    for name, token, lasts in secrets:
        answer.set_cookie(
            name,
            token,
            max_age=int(lasts.total_seconds()),
            path="/",
            secure=settings.tls,
            httponly=True,
            samesite="strict",
        )
    return answer


def _local(path: str) -> str:
    """A path of our own; anything else leads to the first page."""
    fine = path.startswith("/") and not path.startswith("//") and path.isprintable() and "\\" not in path
    return path if fine else "/"
