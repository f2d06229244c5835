"""`leadline watch …` as a person types it: orders, secrets, tokens, alarms, work, proofs, figures, rehearsal."""

from __future__ import annotations

import json
import stat

import pytest
from tests.cli.prompt import NORTH, NOW, one_line, process

from leadline.alarms.alarm import Alarm, Event, State
from leadline.alarms.decide import Priority
from leadline.alarms.raised import Happened, Raised
from leadline.measures.moments import parse
from leadline.wiring import open_store

pytestmark = pytest.mark.door
ORDERS = """
[[path]]
id = "push"
kind = "service"
address = "secret:push"
[[path]]
id = "bell"
kind = "command"
command = ["true"]
[[person]]
id = "keeper"
name = "Keeper"
paths = ["push", "bell"]
"""
NOW_S = parse(NOW).timestamp()


def raise_alarm(north, name="temperature-high", priority=Priority.HIGH):
    alarm = Alarm(name, State.UNACKNOWLEDGED, True, since_s=NOW_S - 600.0)
    with open_store(str(north.db)) as store:
        store.keep_alarm(
            Raised("north-room", alarm, "temperature", priority, 29.0, "It is 29.0.", NOW_S - 600.0, NOW_S + 7200.0),
            Happened(NOW_S - 600.0, "north-room", name, Event.ALARM, State.NORMAL, State.UNACKNOWLEDGED, priority),
        )  # fmt: skip


def test_the_example_can_be_given(north):
    text = north("watch", "orders", "--example").out
    given = north("watch", "orders", north.file("orders.toml", text))
    assert given.code == 0
    assert "Called: Keeper by push, bell, mail, Neighbour by neighbour-mail" in given.out
    assert [x for x in ("mail", "push", "broker") if f"leadline watch secret {x}" in given.err] == [
        "mail",
        "push",
        "broker",
    ]
    assert north("watch", "orders").out == text


def test_orders_come_back_as_they_were_given_and_unknown_keys_are_named(north):
    text = ORDERS + '[pigeon]\nname = "x"\n'
    given = north("watch", "orders", north.file("orders.toml", text))
    assert "Not known, and not used: pigeon" in given.err
    assert north("watch", "orders").out == text


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("x = ", "not valid TOML"),
        ('[[path]]\nid = "a"\nkind = "pigeon"\n', "unknown kind of path 'pigeon'"),
        ('[[path]]\nid = "a"\nkind = "service"\naddress = "json://x"\n', "for all to read"),
        ('[[path]]\nid = "a"\nkind = "mail"\nto = "a@b"\nserver = "x"\npassword = "hunter2"\n', "for all to read"),
        ('[[person]]\nid = "a"\npaths = ["b"]\n', "unknown path 'b'"),
        ('[[person]]\nid = "a"\n', "paths are missing"),
        ('[proof]\nat = "25:00"\n', "no time of day"),
        ('[proof]\nevery = "36 h"\n', "Whole days"),
        ('[proof]\nwindow = "2 d"\n', "longer than"),
        ('[guard]\nwatches = ["ftp://x"]\n', "http://"),
        ('[escalation]\nrepeat = "soon"\n', "no span of time"),
        ('[[feed]]\nid = "a"\nkind = "poll"\naddress = "http://x"\n', "no point"),
        ('[[path]]\nid = "a"\nkind = "command"\n', "command is missing"),
        ('[watch]\ntime_zone = "Mars/Base"\n', "unknown time zone"),
        ('[[person]]\nid = "a"\nhours = ["7-22"]\npaths = ["b"]\n[[path]]\nid = "b"\nkind = "command"\ncommand = "x"\n',
         "no time of day"),
    ],
)  # fmt: skip
def test_orders_that_cannot_be_read_leave_the_old_ones(north, text, said):
    north("watch", "orders", north.file("good.toml", ORDERS))
    wrong = north("watch", "orders", north.file("bad.toml", text))
    assert wrong.code == 2
    assert said in one_line(wrong)
    assert "hunter2" not in wrong.err
    assert north("watch", "orders").out == ORDERS


def test_a_secret_is_kept_for_the_owner_alone_and_shown_nowhere(north):
    north("watch", "orders", north.file("orders.toml", ORDERS))
    given = process("--db", north.db, "watch", "secret", "push", stdin="json://token@host.example/\n")
    assert given.code == 0
    file = north.db.with_name(north.db.name + ".secrets")
    assert stat.S_IMODE(file.stat().st_mode) == 0o600
    assert "push  given" in north("watch", "secret").out
    north("backup", north.folder / "copy.db")
    for path in (north.db, north.folder / "copy.db"):
        assert b"token@host" not in path.read_bytes()
    assert "token@host" not in north("export").out
    assert north("watch", "secret", "push", "--forget").out == "Forgotten: push\n"
    assert "push  missing" in north("watch", "secret").out


def test_an_empty_secret_is_refused(north):
    said = process("--db", north.db, "watch", "secret", "push", stdin="\n")
    assert said.code == 2
    assert "nothing was given" in one_line(said)


def test_tokens(north):
    made = north("watch", "token", "board")
    assert len(made.out.strip()) == 43
    assert north("watch", "token").out == "board\n"
    assert "a token 'board' is there" in one_line(north("watch", "token", "board"))
    assert north("watch", "token", "board", "--revoke").code == 0
    assert "unknown token" in one_line(north("watch", "token", "board", "--revoke"))
    assert "no name for a token" in one_line(north("watch", "token", "Böard"))


def test_alarms_are_listed_with_their_first_step_and_answered(north):
    assert north("watch", "alarms").out == "No alarm stands.\n"
    raise_alarm(north)
    listed = north("watch", "alarms")
    assert listed.code == 1
    assert "high  north-room  temperature-high  unacknowledged, since 10 min: It is 29.0." in listed.out
    assert "First: Lift the covers" in listed.out
    as_json = json.loads(north("watch", "alarms", "--json").out)
    assert as_json["schema"] == "leadline.standing/1"
    assert as_json["harm_at"] == "2026-06-01T10:00:00Z"
    assert north("watch", "acknowledge", "north-room", "temperature-high").out == "Acknowledged: temperature-high\n"
    assert north("watch", "alarms").code == 0
    assert "asks for nothing" in north("watch", "acknowledge", "north-room", "temperature-high").out
    near = one_line(north("watch", "acknowledge", "north-room", "temperature-hihg"))
    assert "Did you mean temperature-high?" in near


def test_a_shelf_needs_an_end_and_a_reason(north):
    raise_alarm(north)
    assert "--reason" in one_line(north("watch", "shelve", "north-room", "temperature-high", "--for", 2))
    assert "--for" in one_line(north("watch", "shelve", "north-room", "temperature-high", "--reason", "x"))
    assert north("watch", "shelve", "north-room", "temperature-high", "--for", 2, "--reason", "known").code == 0
    assert "shelved until 12:00, known" in north("watch", "alarms").out
    assert "is unacknowledged" in north("watch", "unshelve", "north-room", "temperature-high").out
    assert north("watch", "remove", "north-room", "temperature-high", "--reason", "sold").code == 0
    assert "out-of-service" in north("watch", "alarms").out
    assert north("watch", "unshelve", "north-room", "temperature-high").code == 0


def test_work_is_declared_seen_and_ended(north):
    raise_alarm(north)
    said = north("watch", "work", "north-room", "cleaning", "--on", "temperature", "--minutes", 20)
    assert said.out == "Cleaning declared for 20 min; it ends by itself; quiet now: temperature-high.\n"
    assert "cleaning of temperature: 20 min left" in north("watch", "work", "north-room").out
    assert north("watch", "work", "north-room", "--end").out == "Work has ended.\n"
    assert "temperature-high  unacknowledged" in north("watch", "alarms").out
    for words, wrong in (
        (("dancing",), "unknown kind of work"),
        (("cleaning",), "cleaning of what"),
        (("cleaning", "--on", "temperatur"), "Did you mean temperature"),
        (("feeding", "--minutes", 500), "From 1 to 90 minutes"),
    ):
        assert wrong in one_line(north("watch", "work", "north-room", *words))


def test_paths_and_proofs(north):
    assert north("watch", "paths").code == 1
    assert "Nobody is told" in north("watch", "paths").out
    north("watch", "orders", north.file("orders.toml", ORDERS))
    before = json.loads(north("watch", "paths", "--json").out)
    assert [p["proved"] for p in before["paths"]] == [False, False]
    assert 0.25 < before["p_nobody_tonight"] < 0.26  # two coins, and what they share
    asked = north("watch", "prove", "bell")
    assert asked.out == "Proof asked: bell to keeper\n"
    assert "No watch runs on this store" in asked.err
    assert "no path and no person" in one_line(north("watch", "prove", "pigeon"))
    assert north("watch", "prove", "bell", "--heard").out == "Proved: bell to keeper\n"
    after = json.loads(north("watch", "paths", "--json").out)
    assert [p["proved"] for p in after["paths"]] == [False, True]
    assert after["p_nobody_tonight"] < 0.01
    assert "no proof of a sounder is open" in one_line(north("watch", "prove", "bell", "--heard"))


def test_a_code_answers_at_the_prompt(north):
    from leadline.alarms import codes
    from leadline.store.secrets import Secrets

    north("watch", "orders", north.file("orders.toml", ORDERS))
    north("watch", "prove", "bell")
    key = Secrets.beside(north.db).key()
    with open_store(str(north.db)) as store:
        m = store.open_messages()[0]
    code = codes.reply_code(key, m.id, "keeper", "bell")
    assert north("watch", "acknowledge", code.lower()).out == "The path is proved.\n"
    assert "no code" in one_line(north("watch", "acknowledge", "AAAAA-AAAAA"))


def test_figures_in_words_and_as_json(north):
    raise_alarm(north)
    assert "alarms that spoke" in north("watch", "figures").out
    said = json.loads(north("watch", "figures", "--days", 7, "--json").out)
    assert said["announced"] == 1
    assert said["per_week"] == pytest.approx(1.0)


def test_an_unknown_stream_is_offered_and_adopted(north):
    with open_store(str(north.db)) as store:
        store.add_points("north-room", "probe-2", [NOW_S - 60.0, NOW_S], [77.0, 77.1])
    assert north("watch", "adopt").out == "north-room  probe-2\n"
    assert north("watch", "adopt", "north-room", "probe-2", "--quantity", "temperature", "--unit", "degF").code == 0
    assert "probe-2" in north("system", "show", "north-room", "--toml").out
    assert "is declared already" in one_line(north("watch", "adopt", "north-room", "probe-2"))
    assert "unknown stream" in one_line(north("watch", "adopt", "north-room", "nothing"))
    assert north("watch", "adopt").out == "Every stream that came in is declared.\n"


def test_what_is_held_is_shown_and_forgotten(north):
    from leadline.app.ports import Held

    assert north("watch", "held").out == "Nothing is held.\n"
    with open_store(str(north.db)) as store:
        store.hold([Held(NOW_S, "broker", "north-room", "ph", "eight", "no number")])
    assert "north-room/ph  'eight': no number" in north("watch", "held").out
    assert json.loads(north("watch", "held", "--json").out)["why"] == "no number"
    assert north("watch", "held", "--forget").out == "Forgotten: 1\n"


def test_a_rehearsal_says_what_would_have_woken_you(north):
    band = (
        '\n[[band]]\nquantity = "temperature"\naim = ["24.5 degC", "26.5 degC"]\nlimit = ["22.5 degC", "28.5 degC"]\n'
    )
    north("system", "edit", "north-room", north.file("north.toml", NORTH + band))
    begin = NOW_S - 3 * 86400.0
    times = [begin + 300.0 * k for k in range(3 * 288)]
    hot = parse("2026-05-31T01:00:00+02:00").timestamp()  # by night in Oslo
    values = [
        25.0 + (max(0.0, min(t - hot, 9 * 3600.0)) * 0.5 / 3600.0 if t - hot < 9 * 3600.0 else 0.0) for t in times
    ]
    with open_store(str(north.db)) as store:
        store.add_points("north-room", "temperature", times, values)
    said = north("watch", "rehearse", "north-room", "--days", 3)
    assert said.code == 0
    assert "would have needed somebody" in said.out
    found = json.loads(north("watch", "rehearse", "north-room", "--days", 3, "--json").out)
    assert found["woke"] >= 1
    assert found["needed_somebody"] >= 1
    assert found["alarms_per_month"] == pytest.approx(30.0 * found["alarms"] / found["days"], rel=0.5)
    assert "no streams of that time" in one_line(
        north("watch", "rehearse", "north-room", "--days", 1, now="2027-06-01")
    )


def test_a_guard_needs_an_address(north):
    assert "is no address" in one_line(north("watch", "--guard", "other"))


def test_the_alarm_s_words_are_data(north):
    with open_store(str(north.db)) as store:
        alarm = Alarm("x", State.UNACKNOWLEDGED, True, since_s=NOW_S)
        store.keep_alarm(Raised("north-room", alarm, "x", Priority.LOW, None, "\x1b[2J boom", NOW_S), None)
    said = process("--db", north.db, "watch", "alarms")
    assert "boom" in said.out
    assert "\x1b" not in said.out
