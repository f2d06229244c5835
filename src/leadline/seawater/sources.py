"""Every paper cited, by the ending of the functions that use it."""

from __future__ import annotations

SOURCES: dict[str, str] = {
    "bell2007": "Bell TG, Johnson MT, Jickells TD, Liss PS (2007) Ammonia/ammonium dissociation coefficient in "
    "seawater: a significant numerical correction. Environ. Chem. 4:183-186; corrigendum (2008) 5:258.",
    "bower1978": "Bower CE, Bidwell JP (1978) Ionization of ammonia in seawater: effects of temperature, pH, and "
    "salinity. J. Fish. Res. Board Can. 35:1012-1016.",
    "clegg1995": "Clegg SL, Whitfield M (1995) A chemical model of seawater including dissolved ammonia and the "
    "stoichiometric dissociation constant of ammonia in estuarine water and seawater from -2 to 40 °C. "
    "Geochim. Cosmochim. Acta 59:2403-2421.",
    "dickson1990": "Dickson AG (1990a) Standard potential of the reaction AgCl + 1/2 H2 = Ag + HCl and the standard "
    "acidity constant of the ion HSO4- in synthetic sea water. J. Chem. Thermodyn. 22:113-127; (1990b) "
    "Thermodynamics of the dissociation of boric acid in synthetic seawater. Deep-Sea Res. 37:755-766.",
    "dickson2007": "Dickson AG, Sabine CL, Christian JR (2007) Guide to best practices for ocean CO2 measurements. "
    "PICES Special Publication 3.",
    "emerson1975": "Emerson K, Russo RC, Lund RE, Thurston RV (1975) Aqueous ammonia equilibrium calculations: "
    "effect of pH and temperature. J. Fish. Res. Board Can. 32:2379-2383.",
    "fofonoff1983": "Fofonoff NP, Millard RC (1983) Algorithms for computation of fundamental properties of "
    "seawater. UNESCO Technical Papers in Marine Science 44.",
    "garcia1992": "Garcia HE, Gordon LI (1992) Oxygen solubility in seawater: better fitting equations. "
    "Limnol. Oceanogr. 37:1307-1312.",
    "khoo1977": "Khoo KH, Culberson CH, Bates RG (1977) Thermodynamics of the dissociation of ammonium ion in "
    "seawater from 5 to 40 °C. J. Solution Chem. 6:281-290.",
    "lueker2000": "Lueker TJ, Dickson AG, Keeling CD (2000) Ocean pCO2 calculated from dissolved inorganic carbon, "
    "alkalinity, and equations for K1 and K2. Mar. Chem. 70:105-119.",
    "millero1981": "Millero FJ, Poisson A (1981) International one-atmosphere equation of state of seawater. "
    "Deep-Sea Res. 28A:625-629.",
    "millero1995": "Millero FJ (1995) Thermodynamics of the carbon dioxide system in the oceans. Geochim. "
    "Cosmochim. Acta 59:661-677.",
    "morris1966": "Morris AW, Riley JP (1966) The bromide/chlorinity and sulphate/chlorinity ratio in sea water. "
    "Deep-Sea Res. 13:699-705.",
    "mucci1983": "Mucci A (1983) The solubility of calcite and aragonite in seawater at various salinities, "
    "temperatures, and one atmosphere total pressure. Am. J. Sci. 283:780-799.",
    "munhoven2013": "Munhoven G (2013) Mathematics of the total alkalinity-pH equation: pathway to robust and "
    "universal solution algorithms. Geosci. Model Dev. 6:1367-1388.",
    "perez1987": "Perez FF, Fraga F (1987) Association constant of fluoride and hydrogen ions in seawater. "
    "Mar. Chem. 21:161-168.",
    "quan1995": "Quan X, Fry ES (1995) Empirical equation for the index of refraction of seawater. Appl. Opt. "
    "34:3477-3480.",
    "riley1965": "Riley JP (1965) The occurrence of anomalously high fluoride concentrations in the North Atlantic. "
    "Deep-Sea Res. 12:219-220.",
    "riley1967": "Riley JP, Tongudai M (1967) The major cation/chlorinity ratios in sea water. Chem. Geol. "
    "2:263-269.",
    "takahashi1982": "Takahashi T, Williams RT, Bos DL (1982) Carbonate chemistry. In: GEOSECS Pacific Expedition, "
    "vol. 3, Hydrographic data, chapter 3. National Science Foundation.",
    "teos10": "IOC, SCOR and IAPSO (2010) The international thermodynamic equation of seawater - 2010. UNESCO, "
    "Manuals and Guides 56.",
    "uppstrom1974": "Uppström LR (1974) The boron/chlorinity ratio of deep-sea water from the Pacific Ocean. "
    "Deep-Sea Res. 21:161-162.",
    "weiss1974": "Weiss RF (1974) Carbon dioxide in water and seawater: the solubility of a non-ideal gas. "
    "Mar. Chem. 2:203-215.",
    "weiss1980": "Weiss RF, Price BA (1980) Nitrous oxide solubility in water and seawater. Mar. Chem. 8:347-359.",
    "yao1995": "Yao W, Millero FJ (1995) The chemistry of the anoxic waters in the Framvaren Fjord, Norway. "
    "Aquat. Geochem. 1:53-88.",
}  # fmt: skip
