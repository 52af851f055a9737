"""Does a report keep its content as PDF, as single pictures, as tables?"""

import base64
import io
import os
import re
from xml.etree import ElementTree

import openpyxl
import pypdfium2
import pytest

from analysis.errors import NotPossible
from analysis.words.numbers import number_shown
from reports.figures.picture import Figure, Table
from reports.figures.style import canvas
from reports.figures.svg import also_as_png, as_svg
from reports.formats.pdf import as_pdf
from reports.formats.pictures import as_file, pictures_of
from reports.formats.tables import as_csv, as_workbook, tables_of
from reports.page import Page
from reports.sections.blocks import Grid, Picture, Section, Words

TABLE = Table(
    columns=("soda (% flour)", "rise (mm)", "=verdict"), rows=(("0.5", "-3.1", "=1+1"), ("2,5", "+4", "good"))
)


def drawn(key: str = "figure-1", words: str = "rise") -> Figure:
    with canvas(2) as (figure, (axes,)):
        axes.plot([1, 2], [3, 5], color="#0072b2")
        axes.set_title(words)
        svg = as_svg(figure, key=key, title="Rise", description="More soda, more rise")
    return Figure(key=key, svg=svg, alt="More soda, more rise: +4 mm.", caption="Rise against soda.", table=TABLE)


def sections(figure: Figure) -> list[Section]:
    blocks = (Words(text="More soda raised it."), Picture(figure=figure), Grid(caption="All of it", table=TABLE))
    return [Section(key="mattered", title="What mattered", blocks=blocks)]


def page(figure: Figure) -> str:
    return Page(sections=tuple(sections(figure)), title="Soda & scones", invented=True).html()


@pytest.fixture(scope="module", autouse=True)
def pango() -> None:
    """The system library that lays out letters; without it these tests are skipped by name, or fail."""
    try:
        import weasyprint  # noqa: F401
    except OSError:
        said = "no Pango here (Debian: libpangoft2-1.0-0)"
        pytest.fail(said) if os.environ.get("CRUMBWISE_NO_SKIPS") == "1" else pytest.skip(said)


@pytest.fixture(scope="module")
def laid_out() -> bytes:
    return as_pdf(page(drawn()))


def test_a_pdf_holds_the_words_and_the_picture_in_its_colours(laid_out):
    document = pypdfium2.PdfDocument(laid_out)
    said = " ".join(each.get_textpage().get_text_range() for each in document)
    assert "Soda & scones" in said
    assert "More soda raised it." in " ".join(said.split())
    colours = {
        colour for each in document for _, colour in each.render(scale=1.5).to_pil().convert("RGB").getcolors(10**6)
    }
    assert any(abs(r - 0x00) < 40 and abs(g - 0x72) < 40 and abs(b - 0xB2) < 40 for r, g, b in colours)


def test_a_pdf_is_tagged_titled_and_tells_no_time(laid_out):
    document = pypdfium2.PdfDocument(laid_out)
    about = document.get_metadata_dict()
    assert about["Title"] == "Soda & scones"
    assert not about["CreationDate"]
    assert not about["ModDate"]
    assert b"/StructTreeRoot" in laid_out or document.is_tagged()
    assert as_pdf(page(drawn())) == laid_out


@pytest.mark.parametrize(("paper", "points"), [("A4", (595, 842)), ("Letter", (612, 792))])
def test_the_paper_is_the_one_asked_for(paper, points):
    sheet = pypdfium2.PdfDocument(as_pdf(page(drawn()), paper=paper))[0]
    assert (round(sheet.get_width()), round(sheet.get_height())) == points


def test_a_pdf_takes_pictures_that_the_page_carries_and_none_from_outside(tmp_path):
    with also_as_png() as points:
        figure = drawn()
    (tmp_path / "x.png").write_bytes(points["figure-1"])
    carried = "data:image/png;base64," + base64.b64encode(points["figure-1"]).decode()

    def images(source: str) -> int:
        with_image = page(figure).replace("</main>", f'<img src="{source}" alt="A picture"></main>')
        return as_pdf(with_image).count(b"/Subtype /Image")

    assert images(carried) > 0
    assert images((tmp_path / "x.png").as_uri()) == 0


def test_without_the_library_it_says_what_to_do(monkeypatch):
    monkeypatch.setitem(__import__("sys").modules, "weasyprint", None)
    with pytest.raises(NotPossible) as refused:
        as_pdf(page(drawn()))
    assert "crumbwise[pdf]" in refused.value.try_this


def test_a_picture_alone_is_a_whole_svg_with_fixed_colours():
    figure = drawn()
    assert "var(--blue" in figure.svg
    root = ElementTree.fromstring(as_file(figure))
    assert root.tag.endswith("}svg")
    assert root.get("width", "").endswith("pt")
    assert b"var(" not in as_file(figure)
    assert b"#0072b2" in as_file(figure)
    # The title comes first: that is what a screen reader and a browser's tab show.
    assert [child.tag.split("}")[1] for child in root][:3] == ["title", "desc", "rect"]


def test_pictures_as_points_are_the_same_each_time_and_leave_the_svg_alone():
    with also_as_png() as first:
        figure = drawn()
    with also_as_png() as second:
        drawn()
    assert first == second
    assert first["figure-1"].startswith(b"\x89PNG")
    assert figure.svg == drawn().svg
    with also_as_png() as kept:
        pass
    drawn()
    assert kept == {}


def test_letters_that_the_font_lacks_break_no_picture():
    with also_as_png() as kept:
        figure = drawn(words="重曹")
    assert "重曹" in figure.svg
    assert len(kept["figure-1"]) > 2000


def test_tables_and_pictures_are_named_by_their_place():
    found = sections(drawn())
    assert list(tables_of(found)) == ["mattered-1", "mattered-2"]
    assert list(pictures_of(found)) == ["mattered-1"]


def test_csv_has_numbers_as_numbers_and_no_formulas():
    lines = as_csv(TABLE).decode("utf-8-sig").split("\r\n")
    assert lines == ["soda (% flour),rise (mm),'=verdict", "0.5,-3.1,'=1+1", "2.5,4,good", ""]


def test_a_workbook_has_numbers_as_numbers_and_no_formulas():
    book = openpyxl.load_workbook(io.BytesIO(as_workbook(tables_of(sections(drawn())))))
    assert book.sheetnames == ["mattered-1", "mattered-2"]
    rows = list(book["mattered-2"].iter_rows(values_only=True))
    assert rows[0][0] == "All of it"
    assert rows[2] == (0.5, -3.1, "=1+1")
    assert book["mattered-2"]["C3"].data_type == "s"
    assert rows[3] == (2.5, 4, "good")


@pytest.mark.parametrize(
    ("shown", "number"), [("+0.5", 0.5), ("−3,25", -3.25), ("12", 12), ("1 to 2", None), ("–", None), ("pH 7", None)]
)
def test_a_shown_number_is_read_back(shown, number):
    assert number_shown(shown) == number
    assert not re.search("nan", str(number_shown(shown)))
