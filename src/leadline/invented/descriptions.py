"""What stands in the invented house: three systems as their keeper would describe them."""

from __future__ import annotations

GREAT_REEF = """\
[system]
id = "great-reef"
name = "Great reef (invented)"
time_zone = "Europe/Oslo"
net_volume = "1150 L"
net_volume_sd = "60 L"
units = "metric"

[[vessel]]
id = "display"
inner_size = ["2.10 m", "0.75 m", "0.68 m"]

[[vessel]]
id = "sump"
volume = "190 L"
spare_volume = "75 L"

[room]
temperature = "21 degC"
relative_humidity = 0.5
co2 = "650 ppm"

[[equipment]]
id = "heater-1"
type = "heater"
power = "300 W"
setpoint = "25.0 degC"
stream = "heater-1"

[[equipment]]
id = "heater-2"
type = "heater"
power = "300 W"
setpoint = "24.5 degC"

[[equipment]]
id = "chiller-1"
type = "chiller"
power = "450 W"
setpoint = "25.5 degC"
stream = "chiller-1"

[[equipment]]
id = "return-pump"
type = "pump"
flow = "5000 L/h"
head = "1.6 m"

[[equipment]]
id = "topoff-1"
type = "topoff"
reservoir = "60 L"
rate = "40 L/h"
water = "ro"

[[equipment]]
id = "doser-1"
type = "doser"
substance = "sodium-carbonate"
rate = "6 mL/min"
container = "5 L"
concentration = "95 g/L"

[[equipment]]
id = "doser-2"
type = "doser"
substance = "calcium-chloride-dihydrate"
rate = "6 mL/min"
container = "5 L"
concentration = "132 g/L"

[[equipment]]
id = "light-1"
type = "light"
on = "10:00"
off = "20:00"
ramp = "90 min"

[[equipment]]
id = "skimmer-1"
type = "skimmer"

[[stream]]
id = "temperature"
quantity = "temperature"
unit = "degC"
period = "300 s"
vessel = "sump"

[[stream]]
id = "ph"
quantity = "ph"
unit = "1"
period = "300 s"
vessel = "sump"

[[method]]
quantity = "salinity"
name = "refractometer"
sd = "0.4 ppt"
minutes = 2

[[method]]
quantity = "alkalinity"
name = "titration"
sd = "0.1 dKH"
minutes = 4

[[method]]
quantity = "calcium"
name = "titration"
sd = "6 mg/L"
minutes = 6

[[method]]
quantity = "magnesium"
name = "titration"
sd = "22 mg/L"
minutes = 7

[[method]]
quantity = "nitrate"
name = "photometer"
minutes = 8

[[method]]
quantity = "phosphate"
name = "photometer"
minutes = 5

[[band]]
quantity = "salinity"
aim = ["34.0 psu", "36.0 psu"]
limit = ["31.0 psu", "38.0 psu"]

[[band]]
quantity = "alkalinity"
aim = ["7.0 dKH", "9.0 dKH"]
limit = ["6.0 dKH", "12.0 dKH"]

[[band]]
quantity = "temperature"
aim = ["24.5 degC", "26.5 degC"]
limit = ["22.5 degC", "28.5 degC"]
"""

LAGOON = """\
[system]
id = "lagoon"
name = "Lagoon (invented)"
time_zone = "Europe/Oslo"
net_volume = "380 L"
net_volume_sd = "15 L"
units = "metric"

[[vessel]]
id = "display"
inner_size = ["1.20 m", "0.65 m", "0.45 m"]

[[vessel]]
id = "sump"
volume = "70 L"
spare_volume = "40 L"

[room]
temperature = "21 degC"
relative_humidity = 0.5
co2 = "650 ppm"

[[equipment]]
id = "heater-1"
type = "heater"
power = "200 W"
setpoint = "25.0 degC"

[[equipment]]
id = "return-pump"
type = "pump"
flow = "2000 L/h"

[[equipment]]
id = "topoff-1"
type = "topoff"
reservoir = "25 L"
water = "ro"

[[equipment]]
id = "skimmer-1"
type = "skimmer"

[[equipment]]
id = "light-1"
type = "light"
on = "11:00"
off = "20:30"

[[method]]
quantity = "salinity"
name = "conductivity-meter"
sd = "0.15 psu"
minutes = 2

[[method]]
quantity = "alkalinity"
name = "titration"
sd = "0.1 dKH"
minutes = 4
"""

QUARANTINE = """\
[system]
id = "quarantine"
name = "Quarantine (invented)"
time_zone = "Europe/Oslo"
net_volume = "90 L"
net_volume_sd = "4 L"
units = "metric"
purpose = "quarantine"

[[neighbour]]
system = "great-reef"
distance = "2.5 m"

[[vessel]]
id = "tank"
inner_size = ["0.60 m", "0.40 m", "0.38 m"]

[room]
temperature = "21 degC"
relative_humidity = 0.5
co2 = "650 ppm"

[[equipment]]
id = "heater-1"
type = "heater"
power = "100 W"
setpoint = "25.0 degC"

[[method]]
quantity = "ammonia"
name = "colour-card"
minutes = 6

[[method]]
quantity = "salinity"
name = "refractometer"
sd = "0.4 ppt"
minutes = 2
"""
