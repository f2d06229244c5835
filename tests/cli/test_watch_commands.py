"""`leadline watch …` as a person types it: orders, secrets, tokens, alarms, work, proofs, figures, rehearsal."""

from __future__ import annotations

import json
import stat

import pytest
from tests.cli.prompt import NORTH, NOW, one_line, process

from leadline.alarms.alarm import Alarm, Event, State
from leadline.alarms.decide import Priority
from leadline.alarms.delivery import Kind
from leadline.alarms.raised import Happened, Raised
from leadline.couriers.command import Command
from leadline.measures.moments import parse
from leadline.wiring import make_signals, open_store

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


def test_orders_that_call_nobody_are_refused_unless_they_are_meant_so(north):
    file = north.file("orders.toml", '[watch]\ntime_zone = "Europe/Oslo"\n')
    assert "nobody would be called. Add [[person]]" in one_line(north("watch", "orders", file))
    assert north("watch", "orders").code != 0
    assert "Called: nobody" in north("watch", "orders", file, "--nobody").out


def test_programs_and_folders_that_are_not_here_are_named(north):
    text = ORDERS.replace('"true"', '"no-such-bell"') + '[[feed]]\nid = "f"\nkind = "file"\npath = "/no/such/x.csv"\n'
    given = north("watch", "orders", north.file("orders.toml", text))
    assert given.code == 0
    assert "Path bell: the program no-such-bell is not found on this machine." in given.err
    assert "Feed f: there is no folder /no/such on this machine." in given.err
    assert "not found" not in north("watch", "orders", north.file("orders.toml", ORDERS)).err


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
    assert "has it, since 0 s" in north("watch", "alarms").out
    assert "First: Lift the covers" in north("watch", "alarms").out
    near = one_line(north("watch", "acknowledge", "north-room", "temperature-hihg"))
    assert "Did you mean temperature-high?" in near


def test_a_shelf_needs_an_end_and_a_reason(north):
    raise_alarm(north)
    assert "--reason" in one_line(north("watch", "shelve", "north-room", "temperature-high", "--for", 2))
    assert "--for" in one_line(north("watch", "shelve", "north-room", "temperature-high", "--reason", "x"))
    assert north("watch", "shelve", "north-room", "temperature-high", "--for", 1, "--reason", "known").code == 0
    assert "shelved until 11:00, known" in north("watch", "alarms").out
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
    assert "not delivered yet" in one_line(north("watch", "prove", "bell", "--heard"))
    with open_store(str(north.db)) as store:  # as a running watch does it
        signals = make_signals(store, str(north.db))
        d = next(d for d in store.due_deliveries(NOW_S + 1.0) if d.path == "bell")
        signals.attempt(d, Command(signals.orders.paths["bell"]), lambda: NOW_S + 1.0)
    assert north("watch", "prove", "bell", "--heard", now="2026-06-01T08:01:00Z").out == "Proved: bell to keeper\n"
    after = json.loads(north("watch", "paths", "--json").out)
    assert [p["proved"] for p in after["paths"]] == [False, True]
    assert after["p_nobody_tonight"] < 0.01
    assert "no proof of a sounder was sounded there" in one_line(north("watch", "prove", "bell", "--heard"))


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
        store.add_points("north-room", "probe-3", [NOW_S - 60.0, NOW_S], [0.0, 1.0])
        store.add_points("north-room", "probe-4", [NOW_S - 60.0, NOW_S], [35.0, 35.0])
        store.add_points("north-room", "ph", [NOW_S - 60.0, NOW_S], [8.1, 8.1])
    assert set(north("watch", "adopt").out.splitlines()) == {
        f"north-room  {s}" for s in ("probe-2", "probe-3", "probe-4", "ph")
    }
    taken = north("watch", "adopt", "north-room", "probe-2", "--quantity", "temperature", "--unit", "degF")
    assert taken.out == "Taken up: probe-2 of north-room, as temperature, in degF\n"
    assert "probe-2" in north("system", "show", "north-room", "--toml").out
    assert "--state" in one_line(north("watch", "adopt", "north-room", "probe-3"))
    assert north("watch", "adopt", "north-room", "probe-3", "--state").out == (
        "Taken up: probe-3 of north-room, as a machine's state, 0 or 1\n"
    )
    assert north("watch", "adopt", "north-room", "ph").out == ("Taken up: ph of north-room, as ph, without a unit\n")
    assert north("watch", "adopt", "north-room", "probe-4", "--quantity", "salinity").out == (
        "Taken up: probe-4 of north-room, as salinity, in psu (its stored unit)\n"
    )
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


def test_what_still_stands_at_the_end_of_a_rehearsal_is_said_so(north):
    """Water that gains half a kelvin an hour and is not stopped would have passed its limit: somebody was needed."""
    band = (
        '\n[[band]]\nquantity = "temperature"\naim = ["24.5 degC", "26.5 degC"]\nlimit = ["22.5 degC", "28.5 degC"]\n'
    )
    north("system", "edit", "north-room", north.file("north.toml", NORTH + band))
    begin = NOW_S - 86400.0
    times = [begin + 300.0 * k for k in range(288)]
    hot = NOW_S - 4.5 * 3600.0  # 27.25 at the end: still below 28.5
    with open_store(str(north.db)) as store:
        store.add_points("north-room", "temperature", times, [25.0 + max(t - hot, 0.0) * 0.5 / 3600.0 for t in times])
    found = json.loads(north("watch", "rehearse", "north-room", "--days", 1, "--json").out)
    rising = [w for w in found["each"] if w["alarm"] == "temperature-heading-high"]
    assert rising
    assert rising[-1]["still_standing"]
    assert rising[-1]["needed_somebody"]
    assert "still standing" in north("watch", "rehearse", "north-room", "--days", 1).out


def test_the_median_answer_counts_from_the_message(north):
    """An alarm is dated back ten minutes; its message went out two minutes before the answer."""
    raise_alarm(north)
    with open_store(str(north.db)) as store:
        make_signals(store, str(north.db)).open(
            Kind.ALARM, "north-room", "temperature-high", Priority.HIGH, "s", "t", NOW_S - 120.0
        )
    north("watch", "acknowledge", "north-room", "temperature-high")
    said = json.loads(north("watch", "figures", "--days", 7, "--json", now="2026-06-01T09:00:00Z").out)
    assert said["answered"] == 1
    assert said["median_answer_s"] == pytest.approx(120.0, abs=2.0)


def test_a_guard_needs_an_address(north):
    assert "is no address" in one_line(north("watch", "--guard", "other"))


def test_the_alarm_s_words_are_data(north):
    with open_store(str(north.db)) as store:
        alarm = Alarm("x", State.UNACKNOWLEDGED, True, since_s=NOW_S)
        store.keep_alarm(Raised("north-room", alarm, "x", Priority.LOW, None, "\x1b[2J boom", NOW_S), None)
    said = process("--db", north.db, "watch", "alarms")
    assert "boom" in said.out
    assert "\x1b" not in said.out
