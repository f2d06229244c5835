"""How often machines fail without a word, and what a silent failure costs: starting values, each with its origin."""

from __future__ import annotations

from dataclasses import dataclass

from leadline.measures.words import N_


@dataclass(frozen=True, slots=True)
class Trust:
    """What is assumed of one type of equipment.

    Attributes
    ----------
    per_year
        Silent failures or failures waiting to happen. [1/yr]
    harm
        Harm of an undiscovered one until somebody would notice, in the round's currency.
    seen
        Chance that daily life shows the failure before it harms, without any proof. [1]
    minutes
        For one proof. [min]
    what
        What the proof is, in words.
    caution
        Stands at the step.
    origin
        Mark of the rate.
    """

    per_year: float
    harm: float
    seen: float
    minutes: float
    what: str
    caution: str = ""
    origin: str = "judgement"


_ELECTRIC = N_("Dry hands, unplug before reaching in; wiring is a licensed electrician's.")
TRUST: dict[str, Trust] = {
    # Gamma(1, 10 y): no public field rate of small immersion heaters or chillers was found
    "heater": Trust(0.10, 2.0, 0.6, 3, N_("warm it and see that it cuts out"), _ELECTRIC),
    "chiller": Trust(0.10, 2.0, 0.5, 3, N_("see that it really cools: water in against water out"), _ELECTRIC),
    # Weibull shape 1.2, 35 000 h typical of small centrifugal pumps: 17 % in a year of running
    "pump": Trust(
        0.19, 2.0, 0.85, 4, N_("look at its flow, listen, feel for heat"), _ELECTRIC, "public failure-data tables"
    ),
    # Gamma(1, 5 y) for float switches
    "topoff": Trust(0.20, 2.0, 0.7, 2, N_("lift the float and see that it stops, lower it and see that it starts")),
    "doser": Trust(0.50, 1.0, 0.8, 3, N_("measure a minute's output in a cylinder"), "", "common practice"),
    "skimmer": Trust(0.50, 0.3, 0.8, 3, N_("clean the neck, see that it draws air"), "", "common practice"),
    "uv": Trust(
        0.30,
        0.2,
        0.3,
        3,
        N_("check that the lamp burns by its indicator"),
        N_("Never look at a UV lamp."),
        "common practice",
    ),
    "light": Trust(0.15, 0.3, 0.9, 2, N_("see that it follows its hours"), _ELECTRIC, "common practice"),
    "reactor": Trust(0.40, 0.8, 0.6, 3, N_("check flow and effluent"), "", "common practice"),
    "fan": Trust(0.20, 0.6, 0.7, 1, N_("see that it turns"), _ELECTRIC, "common practice"),
    "ups": Trust(
        0.25, 1.5, 0.1, 5, N_("pull its plug under load for some minutes"), _ELECTRIC, "service-trade literature"
    ),
}

# instruments that drift: stream or kit quantity to (out of trust per year, harm, minutes, what)
DRIFT: dict[str, Trust] = {
    "ph": Trust(2.5, 0.06, 0.2, 8, N_("verify in two buffers"), "", "electrode makers' manuals"),
    "salinity": Trust(2.0, 0.4, 0.3, 6, N_("check against a standard of 35"), "", "common practice"),
    "temperature": Trust(0.3, 0.8, 0.6, 2, N_("compare with another thermometer"), "", "common practice"),
    "oxygen": Trust(1.0, 0.4, 0.3, 6, N_("check in air-saturated water"), "", "common practice"),
    "orp": Trust(1.0, 0.03, 0.3, 6, N_("check in a standard"), "", "common practice"),
}
