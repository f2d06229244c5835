"""The reader's language: who gets which, that all of the templates is said through it, that longer words have room."""

from __future__ import annotations

import gettext
import html
import io
import re
import shutil
import subprocess
import threading
from html.parser import HTMLParser

import httpx
import pytest
from jinja2 import nodes
from tests.web import house, pseudo
from tests.web.conftest import served
from tests.web.test_pages import plain
from tools import strings

from leadline.app import accounts
from leadline.cli.main import run
from leadline.measures.moments import FixedClock
from leadline.store.sqlite import SqliteStore
from leadline.web import languages, site
from leadline.web.doors import KeptDoors

pytestmark = pytest.mark.door
PASSPHRASE = "brass lantern over quiet shoals"
SPOKEN = {"accept-language": pseudo.TAG}
OPEN = [
    "/", "/system/great-reef", "/system/lagoon", "/system/great-reef?as_of=2025-12-01T09:30", "/journal",
    *(f"/journal?log={k}&system=great-reef" for k in ("exchange", "addition", "service", "note", "reading")),
    "/journal?q=nothing-like-it", "/livestock", "/livestock/animal/button-polyps", "/livestock/quarantine/quarantine",
    "/livestock/check?kind=Chelmon+rostratus&system=great-reef", "/livestock/check?kind=unheard-of&system=great-reef",
    "/livestock/catalogue", "/livestock/catalogue?name=pest/acropora-flatworm", "/livestock/fallow",
    "/trace", "/trace?ask=back&pest=marine-white-spot&place=great-reef",
    "/trace?ask=forth&what=animal&animal=fairy-wrasses&pest=marine-white-spot", "/watch", "/week", "/week/great-reef",
    "/calendar", "/system/great-reef/labels", "/course/great-reef/alkalinity", "/course/great-reef/salinity?span=1y",
    "/why/great-reef/alkalinity", "/systems", "/systems/new", "/systems/great-reef", "/systems/great-reef/volume",
    "/systems/great-reef/volume?length=2+m&depth=75+cm&height=65+cm&exchanged=100+L&before=34&after=34.6&new=38",
    "/import", "/import/parked", "/me", "/people", "/api", "/offline", "/no-such-page",
]  # fmt: skip
DOORS = ["/sign-in", "/me", "/people", "/share?page=/system/great-reef"]  # with accounts


@pytest.fixture(scope="module")
def spoken(demo_db, tmp_path_factory):
    """The demo, open, with the pseudo-language beside English."""
    path, clock = tmp_path_factory.mktemp("spoken") / "demo.db", FixedClock(house.NOW)
    shutil.copy(demo_db, path)
    app = site.build(lambda: SqliteStore.open(path, clock=clock), clock, tongues=pseudo.tongues())
    with served(app) as address:
        yield address


@pytest.fixture(scope="module")
def kept(demo_db, tmp_path_factory):
    """The same with accounts, and its owner signed in."""
    path, clock = tmp_path_factory.mktemp("kept") / "demo.db", FixedClock(house.NOW)
    shutil.copy(demo_db, path)
    with SqliteStore.open(path, clock=clock) as store:
        accounts.make(store, clock, "Ada", "owner", PASSPHRASE)
    doors = KeptDoors(clock)
    app = site.build(lambda: SqliteStore.open(path, clock=clock), clock, doors=doors, tongues=pseudo.tongues())
    with served(app) as address:
        yield address


def client(address: str, **headers: str) -> httpx.Client:
    return httpx.Client(base_url=address, follow_redirects=True, timeout=60, headers={"origin": address, **headers})


def sign_in(c: httpx.Client) -> None:
    assert c.post("/sign-in", data={"name": "Ada", "passphrase": PASSPHRASE}).status_code == 200


def language(text: str) -> str:
    return re.search(r'<html lang="([^"]*)"', text)[1]


# -- who gets which ------------------------------------------------------------------------------------------


@pytest.mark.published
@pytest.mark.parametrize(
    ("header", "known", "wanted"),
    [
        ("da, en-gb;q=0.8, en;q=0.7", ("en", "da"), "da"),  # RFC 9110, 12.5.4: Danish, else British, else any English
        ("da, en-gb;q=0.8, en;q=0.7", ("en", "de"), "en"),
        ("zh-Hant-CN-x-private1", ("zh-Hant", "zh"), "zh-Hant"),  # RFC 4647, 3.4: from the end, until one is known
        ("zh-Hant-CN", ("en", "zh"), "zh"),
        ("de;q=0, en;q=0.1", ("en", "de"), "en"),  # RFC 9110, 12.4.2: of weight nothing is not acceptable
        ("EN-us", ("en",), "en"),  # RFC 5646, 2.1.1: case means nothing
        ("", ("en",), ""), ("*", ("en",), ""), ("fr;q=high, ;;,", ("en", "fr"), ""), ("x" * 5000, ("en",), ""),
    ],
)  # fmt: skip
def test_the_browser_is_asked(header, known, wanted):
    assert languages.wanted(header, dict.fromkeys(known)) == wanted


def test_the_wish_goes_before_the_browser_and_english_is_what_is_left(spoken):
    with client(spoken) as c:
        assert language(c.get("/journal").text) == "en"
        there = c.get("/journal", headers=SPOKEN)
        assert language(there.text) == pseudo.TAG
        assert "Accept-Language" in there.headers["vary"]
        assert f"<h1>{pseudo.said('Journal')}</h1>" in there.text
        assert language(c.get("/journal", headers={"accept-language": "xx, yy-ZZ;q=0.3"}).text) == "en"
        done = c.post("/me/wishes", data={"units": "metric", "language": pseudo.TAG})
        assert pseudo.said("Kept") in done.text
        assert language(c.get("/", headers={"accept-language": "en"}).text) == pseudo.TAG
        wrong = c.post("/me/wishes", data={"units": "metric", "language": "tlh"})
        assert wrong.status_code == 422
        assert pseudo.said("choose a language of the list")[1:] in html.unescape(wrong.text)
        c.post("/me/wishes", data={"units": "metric", "language": ""})
        assert language(c.get("/").text) == "en"


def test_the_wish_of_an_account_goes_where_its_owner_signs_in(kept):
    with client(kept) as c, client(kept) as other:
        sign_in(c)
        assert '<option value="qps" lang="qps">' in c.get("/me").text
        c.post("/me/wishes", data={"units": "", "language": pseudo.TAG})
        assert language(c.get("/sign-in", headers={"cookie": "language=qps"}).text) == pseudo.TAG
        assert language(other.get("/sign-in").text) == "en"
        sign_in(other)
        assert language(other.get("/").text) == pseudo.TAG
        c.post("/me/wishes", data={"units": "", "language": "en"})
        assert language(other.get("/", headers=SPOKEN).text) == "en"
        c.post("/me/wishes", data={"units": "", "language": ""})


def test_who_holds_the_link_of_a_page_reads_it_in_their_own_language(kept):
    with client(kept) as c, client(kept, **SPOKEN) as guest:
        sign_in(c)
        link = re.search(r"/shared/[\w-]+", c.post("/share", data={"page": "/week", "days": "7"}).text)[0]
        seen = guest.get(link)
        assert (seen.status_code, language(seen.text)) == (200, pseudo.TAG)
        assert language(c.get(link).text) == "en"
        assert guest.get("/week").url.path == "/sign-in"


def test_the_prompt_gives_an_account_its_language_and_stays_in_english(demo_db, tmp_path, capsys):
    path = tmp_path / "demo.db"
    shutil.copy(demo_db, path)
    with SqliteStore.open(path, clock=FixedClock(house.NOW)) as store:
        accounts.make(store, FixedClock(house.NOW), "Ada", "owner", PASSPHRASE)
    assert run(["--db", str(path), "account", "language", "Ada", "--language", "en"]) == 0
    assert "The pages speak to Ada in English." in capsys.readouterr().out
    with SqliteStore.open(path, clock=FixedClock(house.NOW)) as store:
        assert store.accounts()[0].wishes["language"] == "en"
    assert run(["--db", str(path), "account", "language", "Ada", "--language", "tlh"]) != 0
    assert "tlh" in capsys.readouterr().err
    assert run(["--db", str(path), "account", "language", "Ada", "--language", "browser"]) == 0


def test_two_readers_at_one_time_do_not_mix(spoken):
    """Each address asked for by both at once, again and again: what the pages keep is kept for each apart."""
    found: dict[str, set[str]] = {"en": set(), pseudo.TAG: set()}

    def read(tag: str) -> None:
        with client(spoken, **{"accept-language": tag}) as c:
            for _ in range(12):
                for path in ("/system/great-reef", "/week", "/livestock"):
                    found[tag].add(f"{path} {language(text := c.get(path).text)} {'Livestock' in plain(text)}")

    readers = [threading.Thread(target=read, args=(tag,)) for tag in found]
    for r in readers:
        r.start()
    for r in readers:
        r.join()
    for tag, seen in found.items():
        assert {s.split()[1:] == [tag, str(tag == "en")] for s in seen} == {True}, seen


def test_programs_and_files_hear_english(spoken):
    with client(spoken, **SPOKEN) as c:
        said = c.get("/api/round").text if c.get("/api/round").status_code == 200 else c.get("/api/v1/round").text
        assert not re.search(f"[{pseudo._ACCENTED}]{{3}}", said)
        refused = c.get("/api/no-such-thing")
        assert not re.search(f"[{pseudo._ACCENTED}]{{3}}", refused.text)


# -- nothing of a template is left out -----------------------------------------------------------------------

SAME_EVERYWHERE = {  # names, units and formats, commands, and words that others' forms are written in
    "Leadline", "UTC", "JSON", "CSV", "TOML", "leadline", "pH", "cm", "min", "US",
    "open",  # the attribute of a form that is shown open
}  # fmt: skip
QUIET = ("code", "pre", "style", "script", "svg")  # words inside of drawings are not done yet
HUMAN = ("aria-label", "title", "placeholder", "alt")
LITERAL = re.compile(r"[A-Za-z]{2,}")


class Words(HTMLParser):
    """What a person reads or hears of a page: text and the attributes that are said; no code, no style, no drawing."""

    def __init__(self) -> None:
        super().__init__(convert_charrefs=True)
        self.found: list[str] = []
        self._quiet = 0

    def handle_starttag(self, tag, attrs):
        if tag in QUIET:
            self._quiet += 1
        self.found += [v for k, v in attrs if k in HUMAN and v]

    def handle_endtag(self, tag):
        if tag in QUIET:
            self._quiet -= 1

    def handle_data(self, data):
        if not self._quiet and data.strip():
            self.found.append(re.sub(r"\s+", " ", data).strip())


def read(text: str) -> list[str]:
    words = Words()
    words.feed(text)
    return words.found


def written_out(environment, source: str) -> str:
    """A template's own text: what stands between its statements, and in no sentence said through the catalogue."""
    out, kind, in_trans = [], "", 0
    for _, token, value in environment.lex(source):
        if token == "block_begin":
            kind = "block"
        elif token == "name" and kind == "block":
            in_trans += {"trans": 1, "endtrans": -1}.get(value, 0)
            kind = ""
        elif token in ("variable_begin", "block_end", "comment"):
            out.append("·" if token == "variable_begin" else "")
            kind = ""
        elif token == "data" and not in_trans:
            out.append(value)
    return "".join(out)


TEMPLATES = sorted(p.relative_to(strings.SOURCE / "web/templates").as_posix()
                   for p in (strings.SOURCE / "web/templates").rglob("*.html"))  # fmt: skip


@pytest.mark.law
@pytest.mark.parametrize("name", TEMPLATES)
def test_a_template_holds_no_sentence_of_its_own(name):
    environment = site.templates()
    source = environment.loader.get_source(environment, name)[0]
    for said in read(written_out(environment, source)):
        left = [w for w in LITERAL.findall(said) if w not in SAME_EVERYWHERE]
        assert not left, f"{name}: {said!r} is said in English whatever the reader speaks: write {{{{ _(...) }}}}"

    def look(node):
        if isinstance(node, nodes.Call) and getattr(node.node, "name", "") in ("_", "gettext", "ngettext"):
            for given in node.kwargs:
                look(given)
            return
        if isinstance(node, nodes.Compare):  # with a code or an id: it is not shown
            return
        if isinstance(node, nodes.Const) and isinstance(node.value, str):
            sentence = re.search(r"^[A-Z][a-z]+|[a-z]{2,} [a-z]{2,}", node.value)
            assert not sentence, f"{name}: {node.value!r} is said in English whatever the reader speaks"
        for child in node.iter_child_nodes():
            look(child)

    look(environment.parse(source))


def test_the_look_at_templates_finds_what_is_left_out():
    environment = site.templates()
    source = '<p title="Of {{ x }}">{{ _("Kept") }} and {% trans %}said{% endtrans %}<code>cat</code>'
    source += "{% if x %}lost{% endif %}"
    assert read(written_out(environment, source)) == ["Of ·", "· and", "lost"]


# -- and nothing of the list is lost on its way to a page ----------------------------------------------------

# sentences of floors that are not done yet, ids and data that happen to read like a sentence of the list
NOT_YET = {
    "temperature", "salinity", "light",  # facts of the catalogue, ids of streams, types of machines
    "quarantine", "note", "service",  # ids of systems and kinds of entries
    "photographs",  # a step of a quarantine
}  # fmt: skip


def patterns() -> list[tuple[str, re.Pattern[str]]]:
    """Every sentence of the list, as it would read in English; those whose gaps leave too little are left out."""
    found = []
    for m in strings.messages():
        for text in filter(None, (m.one, m.many)):
            bare = re.sub(r"<[^>]*>", "", text)
            words = re.findall(r"[A-Za-z]{2,}", re.sub(r"%\(\w+\)s|\{\w*\}", "", bare))
            if not words or (bare != re.sub(r"%\(\w+\)s|\{\w*\}", "", bare) and len(words) < 3):
                continue
            parts = re.split(r"%\(\w+\)s|\{\w*\}", html.unescape(bare).replace("%%", "%"))
            found.append((text, re.compile(".+".join(re.escape(p) for p in parts))))
    return found


@pytest.fixture(scope="module")
def sentences():
    found = patterns()
    return {t for t, _ in found if "{" not in t and "%" not in t}, [p for t, p in found if "{" in t or "%" in t]


def untranslated(text: str, sentences) -> list[str]:
    whole, gapped = sentences
    return [
        node for node in read(text)
        if node.lower() not in NOT_YET and LITERAL.search(node) and node not in SAME_EVERYWHERE
        and (node in whole or any(p.fullmatch(node) for p in gapped))
    ]  # fmt: skip


@pytest.mark.parametrize("path", [p for p in OPEN if p != "/api"])  # that page tells a document that is in English
def test_a_page_says_all_that_is_in_the_list_in_the_readers_language(spoken, sentences, path):
    with client(spoken, **SPOKEN) as c:
        there = c.get(path)
    assert there.status_code in (200, 404, 422)
    assert language(there.text) == pseudo.TAG
    assert untranslated(there.text, sentences) == []


@pytest.mark.parametrize("path", DOORS)
def test_so_do_the_pages_of_the_doors(kept, sentences, path):
    with client(kept, **SPOKEN) as c:
        if path != "/sign-in":
            sign_in(c)
        assert untranslated(c.get(path).text, sentences) == []


WRONG = [
    ("/journal/log", {"kind": "feeding", "system": "great-reef", "subject": "", "value": "x"}),
    ("/livestock/arrive", {"kind": "", "system": "great-reef"}),
    ("/livestock/quarantine/treat", {"agent": ""}), ("/livestock/quarantine/release", {"who": ""}),
    ("/watch/work", {"system": "great-reef", "kind": "cleaning", "minutes": "a"}), ("/import", {}),
    ("/calendar/make", {"name": ""}), ("/systems/new", {"name": ""}), ("/me/wishes", {"units": "zz"}),
]  # fmt: skip


@pytest.mark.parametrize(("path", "form"), WRONG)
def test_a_form_that_cannot_be_used_comes_back_in_the_readers_language(spoken, sentences, path, form):
    with client(spoken, **SPOKEN) as c:
        there = c.post(path, data=form)
    assert there.status_code == 422
    assert untranslated(there.text, sentences) == []


def test_after_another_reader_nothing_of_their_language_is_left(spoken):
    with client(spoken) as c:
        for path in OPEN:
            c.get(path, headers=SPOKEN)
            text = c.get(path).text.replace(f'<option value="{pseudo.TAG}"', "")
            assert language(text) == "en"
            assert not re.search(f"[{pseudo._ACCENTED}]{{3}}", text), path
            assert not re.search(f"[{pseudo._ACCENTED}]{{3}}", text), path
            assert "%(" not in text, path


# -- room ----------------------------------------------------------------------------------------------------

WIDE = """() => {
  const out = [], most = document.documentElement.clientWidth
  if (document.documentElement.scrollWidth > most) out.push('the page is ' + document.documentElement.scrollWidth)
  for (const e of document.querySelectorAll('a.button, button, summary, label, h1, h2, h3, p, li, dt, dd, legend')) {
    const box = e.getBoundingClientRect()
    if (!box.width || e.closest('.wide, .unseen, pre, svg, .skip, .drawn, .sheet') || e.matches('.unseen')) continue
    if (box.right > most + 1 || box.left < -1) out.push(e.tagName + ' ends at ' + box.right + ': ' + e.innerText)
    if (getComputedStyle(e).overflow !== 'visible' && e.scrollWidth > e.clientWidth + 1) out.push('cut: ' + e.innerText)
  }
  return out
}"""


@pytest.mark.parametrize("path", OPEN)
def test_words_a_third_longer_have_room_on_a_phone(browser, spoken, path):
    context = browser.new_context(viewport={"width": 390, "height": 844}, extra_http_headers=SPOKEN)
    try:
        page = context.new_page()
        page.goto(spoken + path)
        assert page.evaluate(WIDE) == []
    finally:
        context.close()


# -- the list and its catalogues -----------------------------------------------------------------------------

PO = """msgid ""
msgstr ""
"Language: qps\\n"
"Content-Type: text/plain; charset=UTF-8\\n"
"Plural-Forms: nplurals=3; plural=(n==1 ? 0 : n<5 ? 1 : 2);\\n"

#, python-format
msgid "%(num)s row"
msgid_plural "%(num)s rows"
msgstr[0] "%(num)s řádek"
msgstr[1] "%(num)s řádky"
msgstr[2] "%(num)s řádků"

msgid ""
"Two \\"lines\\"\\n"
"in one"
msgstr "Dva\\tv jednom"

msgid "Not done"
msgstr ""
"""


def test_a_catalogue_is_compiled_as_the_standard_library_reads_it():
    found = gettext.GNUTranslations(io.BytesIO(strings.compiled(strings.read(PO))))
    assert [found.ngettext("%(num)s row", "%(num)s rows", n)[8:] for n in (1, 3, 7)] == ["řádek", "řádky", "řádků"]
    assert found.gettext('Two "lines"\nin one') == "Dva\tv jednom"
    assert found.gettext("Not done") == "Not done"


@pytest.mark.skipif(shutil.which("msgfmt") is None, reason="GNU gettext is not installed")
def test_gnu_gettext_takes_the_list_and_compiles_the_same(tmp_path):
    (tmp_path / "x.po").write_text(PO, encoding="utf-8")
    for source in (strings.LIST, tmp_path / "x.po"):
        subprocess.run(["msgfmt", "--check-format", "-o", tmp_path / "x.mo", source], check=True, capture_output=True)
    with (tmp_path / "x.mo").open("rb") as file:
        theirs = gettext.GNUTranslations(file)
    ours = gettext.GNUTranslations(io.BytesIO(strings.compiled(strings.read(PO))))
    assert theirs._catalog == ours._catalog


def test_the_list_is_what_the_code_says():
    assert strings.main(["--check"]) == 0
    text = strings.LIST.read_text(encoding="utf-8")
    assert not re.search(r"\d{4}-\d\d-\d\d \d\d:|POT-Creation|/home|/tmp", text)


def test_a_language_is_begun_kept_up_and_compiled(tmp_path, monkeypatch, capsys):
    monkeypatch.setattr(strings, "ROOT", tmp_path)
    monkeypatch.setattr(strings, "LOCALE", tmp_path / "locale")
    monkeypatch.setattr(strings, "LIST", tmp_path / "locale" / "leadline.pot")
    known = [strings.Message("Kept", "", ["a.html"]), strings.Message("At %(when)s", "", ["a.html"])]
    monkeypatch.setattr(strings, "messages", lambda: known)
    assert strings.main(["--new", "pt-BR"]) == 0
    po = tmp_path / "locale" / "pt_BR" / "LC_MESSAGES" / "leadline.po"
    text = po.read_text(encoding="utf-8").replace('msgid "Kept"\nmsgstr ""', 'msgid "Kept"\nmsgstr "Guardado"')
    po.write_text(text, encoding="utf-8")
    known.append(strings.Message("New", "", ["b.html"]))
    assert strings.main(["--check"]) == 1
    assert strings.main([]) == 0
    assert '"Guardado"' in po.read_text(encoding="utf-8")
    assert 'msgid "New"' in po.read_text(encoding="utf-8")
    assert gettext.GNUTranslations(io.BytesIO(po.with_suffix(".mo").read_bytes())).gettext("Kept") == "Guardado"
    po.write_text(po.read_text().replace('msgid "At %(when)s"\nmsgstr ""', 'msgid "At %(when)s"\nmsgstr "Em %(wen)s"'))
    assert strings.main([]) == 1
    assert "its gaps are not those of" in capsys.readouterr().out
