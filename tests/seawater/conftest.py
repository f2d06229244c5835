"""PyCO2SYS, the reference for the carbonate system, with the options our constants answer to."""

from __future__ import annotations

import warnings

import pytest


@pytest.fixture(scope="session")
def reference():
    """A function of (par1, type1, par2, type2, temperature, salinity, **more) that gives PyCO2SYS's results."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # its autograd warns at import; ours stay errors
        import PyCO2SYS

    # Lueker 2000, Dickson 1990, Uppström 1974, Perez & Fraga 1987, total scale
    options = {
        "opt_pH_scale": 1,
        "opt_k_carbonic": 10,
        "opt_k_bisulfate": 1,
        "opt_total_borate": 1,
        "opt_k_fluoride": 2,
    }

    def call(par1, type1, par2, type2, temperature, salinity, **more):
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            return PyCO2SYS.sys(
                par1=par1, par1_type=type1, par2=par2, par2_type=type2,
                temperature=temperature, salinity=salinity, **options, **more,
            )  # fmt: skip

    return call
