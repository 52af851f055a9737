"""What became of today's batch? Logging one, what is said of it at once, causes of alarms, corrections."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Annotated, Any
from urllib.parse import quote

from fastapi import APIRouter, Depends, Request
from starlette.datastructures import FormData
from starlette.responses import Response

from tracker.bench.failing import OURS
from tracker.bench.kit import form_of, keep, needs, page, status_of, store_of, text, wants_json, zone_of
from tracker.bench.pages import batch_fields as fields
from tracker.bench.remembered import remembered
from tracker.errors import Conflict, NotFound, NotNow
from tracker.intake.numbers import number_text
from tracker.workflow.accounts import AccountLine
from tracker.workflow.alarms import AlarmLine, answer_alarms, causes_of, list_alarms, read_numbers
from tracker.workflow.batch_looks import lies_ahead, looks_at
from tracker.workflow.batch_pages import BatchForm, ResponseBoxes, batch_form, chart_of_batch, verdict_of
from tracker.workflow.batches import BatchLine, show_batch
from tracker.workflow.correcting_batches import correct_batch
from tracker.workflow.kitchens import Store
from tracker.workflow.product_views import list_products
from tracker.workflow.quick_entry import add_readings, log_batch

router = APIRouter()
Baker = Annotated[AccountLine, Depends(needs("baker"))]
Form = Annotated[FormData, Depends(form_of)]
MOST_SIGNS = 200  # of the name of a response
MOST_CHARTS, MOST_ALARMS = 2, 12  # on one page; each chart takes up to 45 KB


def address(path: str, product: str, number: str = "", response: str = "") -> str:
    """A page about a product or one of its batches; any name fits into it."""
    said = (("product", product), ("number", number), ("response", response))
    return f"{path}?" + "&".join(f"{name}={quote(value, safe='')}" for name, value in said if value)


@router.get("/batch")
def show(request: Request, who: Baker, product: str = "") -> Response:
    """Every product, or the form of one product's next batch."""
    if not product:
        store = store_of(request)
        products = remembered(request, "products", lambda: list_products(store))
        waiting = {each.name: len(_open_alarms(request, each.name)) for each in products}
        return page(request, "batch/products.html", products=products, waiting=waiting, address=address)
    return _form_page(request, _asked(request, product), {})


@router.post("/batch")
def log(request: Request, who: Baker, form: Form) -> Response:
    """Log one batch; what was typed stays when something is wrong with it."""
    product, number = text(form, "product"), text(form, "number")
    store = store_of(request)
    places = {name: fields.place(form, name) for name in fields.PLACES}
    try:
        return keep(
            request,
            who,
            form,
            lambda store: log_batch(
                store,
                product,
                number,
                at=text(form, "at") or None,
                lots=fields.lots(form),
                readings=fields.readings(form),
                person=who.person,
                **places,
            ),
            then=address("/batch/one", product, " ".join(number.split())),
        )
    except OURS as error:
        if isinstance(error, Conflict) and not isinstance(
            error, NotNow
        ):  # two tablets logged it: both are shown, a person decides
            error.what += f" It holds: {show_batch(store, product, number).holds()}."
        if wants_json(request):
            raise
        asked = batch_form(store, product)
        return _form_page(request, asked, fields.typed_fields(form), error)


@router.get("/batch/more")
@router.get("/batch/one")
def one(request: Request, who: Baker, product: str = "", number: str = "") -> Response:
    return _one_page(request, product, number)


@router.get("/batch/alarms")
def alarms(request: Request, who: Baker, product: str = "") -> Response:
    store = store_of(request)
    return page(
        request,
        "batch/alarms.html",
        product=product,
        alarms=list_alarms(store, product, open_only=True),
        causes=causes_of(store, product).causes[:8],
        most=MOST_ALARMS,
        filled={},
        address=address,
        wrong=None,
    )


@router.post("/batch/alarms")
def answer(request: Request, who: Baker, form: Form) -> Response:
    """Name the cause of alarms and what was done; the entry stands beside the alarm."""
    product, number = text(form, "product"), text(form, "number")
    back = address("/batch/one", product, number) if number else address("/batch/alarms", product)
    try:
        return keep(
            request,
            who,
            form,
            lambda store: answer_alarms(
                store,
                product,
                read_numbers(fields.ticked(form, "alarm")),
                cause=text(form, "cause"),
                action=text(form, "action"),
                person=who.person,
            ),
            then=back,
        )
    except OURS as error:
        if wants_json(request):
            raise
        filled, said = fields.typed_fields(form), fields.wrong(error)
        if number:
            return _one_page(request, product, number, filled, said, status_of(error))
        store = store_of(request)
        return page(
            request,
            "batch/alarms.html",
            status=status_of(error),
            product=product,
            alarms=list_alarms(store, product, open_only=True),
            causes=causes_of(store, product).causes[:8],
            most=MOST_ALARMS,
            filled=filled,
            address=address,
            wrong=said,
        )


@router.post("/batch/more")
def more(request: Request, who: Baker, form: Form) -> Response:
    """Readings of responses that a batch in the log was not read for yet."""
    product, number = text(form, "product"), text(form, "number")
    given = fields.readings(form)
    try:
        return keep(
            request,
            who,
            form,
            lambda store: add_readings(store, product, number, given, person=who.person),
            then=address("/batch/one", product, number),
        )
    except OURS as error:
        if wants_json(request):
            raise
        return _one_page(request, product, number, fields.typed_fields(form), fields.wrong(error), status_of(error))


@router.get("/batch/correct")
def show_correction(request: Request, who: Baker, product: str = "", number: str = "") -> Response:
    return _correct_page(request, product, number, {})


@router.post("/batch/correct")
def correct(request: Request, who: Baker, form: Form) -> Response:
    """Put a batch right by a new entry; what stood before stays readable."""
    product, number = text(form, "product"), text(form, "number")
    try:
        mended = fields.mended(form, show_batch(store_of(request), product, number))
        return keep(
            request,
            who,
            form,
            lambda store: correct_batch(
                store, product, number, mended, reason=text(form, "reason"), person=who.person, seen=text(form, "seen")
            ),
            then=address("/batch/one", product, number),
        )
    except OURS as error:
        if wants_json(request) or isinstance(error, NotFound):
            raise
        return _correct_page(request, product, number, fields.typed_fields(form), error)


def _form_page(request: Request, asked: BatchForm, filled: dict[str, str], error: Exception | None = None) -> Response:
    """The form; ``filled`` is what was typed before, and wins over what is proposed."""
    return page(
        request,
        "batch/form.html",
        status=200 if error is None else status_of(error),
        asked=asked,
        filled=filled,
        places=fields.offered(asked, filled),
        waiting=_open_alarms(request, asked.product),
        wrong=None if error is None else fields.wrong(error),
        address=address,
        other=fields.OTHER,
    )


def _one_page(
    request: Request,
    product: str,
    number: str,
    filled: dict[str, str] | None = None,
    wrong: dict[str, str] | None = None,
    status: int = 200,
) -> Response:
    store, asked = store_of(request), request.query_params.get("response", "")[:MOST_SIGNS]
    told = remembered(request, ("batch", product, number, asked), lambda: _about(store, product, number, asked))
    baked = fields.in_the_kitchen(told["stands"].baked_at, zone_of(request))
    # Whether it lies ahead goes by the clock; all else that is to be looked at stands in the record.
    looks = ("looks", product, number, lies_ahead(store, told["stands"].baked_at))
    return page(
        request,
        "batch/one.html",
        status=status,
        product=product,
        filled=filled or {},
        wrong=wrong,
        baked=baked,
        notices=remembered(request, looks, lambda: looks_at(store, product, number)),
        address=address,
        **told,
    )


def _about(store: Store, product: str, number: str, asked: str) -> dict[str, Any]:
    """What the page of one batch tells, all of it from the record."""
    stands = show_batch(store, product, number)
    verdict = verdict_of(store, product, number)
    own = {alarm for each in verdict.verdicts for alarm in each.alarms}
    names = [each.response for each in sorted(verdict.verdicts, key=lambda each: not each.alarms)]
    drawn = [asked] if asked in names else names[:MOST_CHARTS]
    charts = [
        (name, chart_of_batch(store, product, number, name, key=f"c{place}"))
        for place, name in enumerate(drawn, start=1)
    ]
    return {
        "missing": [] if stands.void else _unread(store, stands, product),
        "stands": stands,
        "verdict": verdict,
        "alarms": [line for line in list_alarms(store, product) if line.number in own],
        "causes": causes_of(store, product).causes[:8],
        "charts": charts,
        "further": [name for name in names if name not in drawn],
    }


def _asked(request: Request, product: str) -> BatchForm:
    return remembered(request, ("form", product), lambda: batch_form(store_of(request), product))


def _open_alarms(request: Request, product: str) -> Sequence[AlarmLine]:
    return remembered(request, ("alarms", product), lambda: list_alarms(store_of(request), product, open_only=True))


def _correct_page(
    request: Request, product: str, number: str, filled: dict[str, str], error: Exception | None = None
) -> Response:
    store = store_of(request)
    stands = show_batch(store, product, number)
    asked = batch_form(store, product)
    return page(
        request,
        "batch/correct.html",
        status=200 if error is None else status_of(error),
        product=product,
        values={name: [number_text(value) for value in values] for name, values in stands.values.items()},
        sizes={name: number_text(sizes[0]) for name, sizes in stands.sizes.items()},
        units={each.name: each.unit for each in asked.responses},
        stands=stands,
        seen=stands.holds(),
        baked=fields.in_the_kitchen(stands.baked_at, zone_of(request)),
        asked=asked,
        filled=filled,
        places=fields.offered(asked, filled, stands),
        wrong=None if error is None else fields.wrong(error),
        address=address,
        other=fields.OTHER,
    )


def _unread(store: Store, stands: BatchLine, product: str) -> list[ResponseBoxes]:
    return [each for each in batch_form(store, product).responses if not stands.values.get(each.name)]
