"""The first thing to do about an alarm, in one or two sentences, with the caution that belongs to it.

All of it is common practice; it defers to local codes and licensed people where work can hurt.
"""

from __future__ import annotations

from collections.abc import Mapping
from fnmatch import fnmatchcase

_MAINS = "Dry hands, at the plug; wiring is a licensed electrician's."
# the first that fits; {subject} is the machine, stream or quantity
STEPS: tuple[tuple[str, str], ...] = (
    ("*-warms", f"Take {{subject}} off its supply and lift the covers. {_MAINS}"),
    ("heater-*-never-off", f"Take {{subject}} off its supply, then feel for warmth at the glass, not inside. {_MAINS}"),
    ("heater-*-no-heat", f"Check that {{subject}} has power and stands in water; keep a second one ready. {_MAINS}"),
    ("heater-*", f"Look at {{subject}}: covered with water, set right, warm? {_MAINS}"),
    ("chiller-*", f"Look at {{subject}}: air free at its fins, water through it, set right? {_MAINS}"),
    ("*pump*-stopped", f"Get water and air moving: another pump, an air stone. Then look at {{subject}}. {_MAINS}"),
    ("*pump*", f"Look at {{subject}}: does water come? Clean its inlet. {_MAINS}"),
    ("topoff-*-too-little", "Look at the reservoir and the float; add fresh water slowly if salinity has risen."),
    ("topoff-*", "Stop the top-off at its reservoir, look for water on the floor, then test salinity. "
                 "Water near electricity: stay off wet floors until the supply is off."),
    ("doser-*", "Look at its tubes and containers; test alkalinity by hand before anything is added."),
    ("temperature-*high", "Lift the covers, start a fan across the surface, take the heater off its supply. "
                          "Cool slowly: no ice into the water. " + _MAINS),
    ("temperature-*low", "Check the heater, close covers and window. Warm slowly: no hot water into the tank. "
                         + _MAINS),
    ("oxygen-*", "Air stone or a pump at the surface now; stop feeding and dosing."),
    ("ph-*low", "Fresh air into the room and air into the water; look at reactor and doser. Check the probe in buffer; "
                "never chase pH with additives."),
    ("ph-*high", "Look at limewater and dosers: stop what is still adding. Check the probe in buffer."),
    ("ph-nights", "Fresh air at night, less food; check the probe in buffer."),
    ("salinity-*", "Test salinity by hand before anything is changed; then look at the top-off."),
    ("all-streams-silent", "Look whether there is power; then at network and broker."),
    ("*-silent", "Look at probe, cable, power and network of {subject}."),
    ("path-*", "Answer the next proof, or look at the address, password and server of that path."),
    ("*-still-heats", f"Take {{subject}} off its supply: it heats though it says off. {_MAINS}"),
    ("*-stuck", "Look at {subject}: move the float or take the probe out for a moment; does it answer?"),
    ("*-off", "Test once more by hand, then calibrate {subject}."),
    ("watch-senders-clock", "Set the clock of the device that sends, or let it send without a time."),
    ("flood", "Look for what they have in common: power, network, one pump."),
    ("watch-mistake", "Restart the watch; if it comes again, report it with its words."),
    ("watch-disk*", "Free some space on the disk that holds the store."),
    ("watch-clock", "Set the clock of this machine, best by a time server."),
    ("guard-*", "Look whether that machine runs and is reachable; restart its watch."),
    ("feed-*", "Look whether the sender runs and is reachable, and at the password it uses."),
    ("treatment-window-closes", "Treat today, in a vessel of its own; rinse water goes to waste, never into a tank."),
    ("toxic-animal-disturbed", "Look at the fish now: breathing, colour, hiding. Carbon in flow, new water ready. "
                               "Gloves and eyes for people; nobody breathes what dries or steams."),
    ("*", "Look at it, and test by hand before you act."),
)  # fmt: skip


def first_step(name: str, subject: str, types: Mapping[str, str] | None = None) -> str:
    """What to do first about an alarm; its machine's type stands in for a name that does not tell."""
    kind = (types or {}).get(subject, "")
    told = name if not kind or name.startswith(kind) else f"{kind}-{name.removeprefix(subject).lstrip('-')}"
    for tried in dict.fromkeys((told, f"{kind}-1-{name.removeprefix(subject).lstrip('-')}" if kind else name, name)):
        for pattern, words in STEPS[:-1]:
            if fnmatchcase(tried, pattern):
                return words.format(subject=subject)
    return STEPS[-1][1]
