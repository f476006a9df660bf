"""Tables: what the standards and handbooks say, as data files with their sources.

Answers:  gauge and copper, vehicle cable, colours, supply conditions, fuses, contacts, crimps, bundles, currents.
May touch:    the files in this folder, read only.
Must not:     hold a number whose source is not beside it; know of designs, networks or trucks.

Every result carries `.source`, `.seen` (printed, open copy, secondary or memory) and `.from_memory`. A value from
memory is shown as such and is never a test's oracle. A look-up outside a table raises `OutOfTable`.
"""

from pinproof.tables.bundles import BundleRatio, ShrinkRange, bundle_factor, bundle_ratio, shrink_range_m
from pinproof.tables.cable import (
    VehicleCable,
    gxl_outside_m,
    j1128_wall_m,
    temperature_class_c,
    vehicle_cable,
    vehicle_cable_areas_m2,
)
from pinproof.tables.colours import WireColour, colour_names, decode_colour, decode_older_colour, encode_colour
from pinproof.tables.contacts import ContactLoad, contact_figure, contact_kinds, contact_load
from pinproof.tables.copper import (
    AWG_LARGEST,
    AWG_SMALLEST,
    Conductor,
    Copper,
    aircraft_max_ohm_per_m,
    awg_area_m2,
    awg_diameter_m,
    class5_max_ohm_per_m,
    conductor,
    copper,
    copper_ohm_per_m,
)
from pinproof.tables.crimps import crimp_pull_by_area_n, crimp_pull_n, crimp_pull_standards, insulation_clearance_m
from pinproof.tables.currents import (
    aircraft_drop_v,
    ampacity_a,
    ampacity_documents,
    bundle_current_factor,
    drop_fraction,
)
from pinproof.tables.fuses import (
    BladeFuse,
    FuseGate,
    fuse_by_colour,
    fuse_by_rating,
    fuse_continuous_fraction,
    fuse_gate,
    fuse_ratings_a,
)
from pinproof.tables.load import SEEN, Figure, Sourced, Table, load, names, source_of
from pinproof.tables.supply import (
    LoadDump,
    Overvoltage,
    StartingProfile,
    SupplyRange,
    jump_start,
    load_dump,
    long_term_overvoltage,
    reverse_supply,
    starting_profile,
    supply_range,
)

__all__ = [
    "AWG_LARGEST",
    "AWG_SMALLEST",
    "SEEN",
    "BladeFuse",
    "BundleRatio",
    "Conductor",
    "ContactLoad",
    "Copper",
    "Figure",
    "FuseGate",
    "LoadDump",
    "Overvoltage",
    "ShrinkRange",
    "Sourced",
    "StartingProfile",
    "SupplyRange",
    "Table",
    "VehicleCable",
    "WireColour",
    "aircraft_drop_v",
    "aircraft_max_ohm_per_m",
    "ampacity_a",
    "ampacity_documents",
    "awg_area_m2",
    "awg_diameter_m",
    "bundle_current_factor",
    "bundle_factor",
    "bundle_ratio",
    "class5_max_ohm_per_m",
    "colour_names",
    "conductor",
    "contact_figure",
    "contact_kinds",
    "contact_load",
    "copper",
    "copper_ohm_per_m",
    "crimp_pull_by_area_n",
    "crimp_pull_n",
    "crimp_pull_standards",
    "decode_colour",
    "decode_older_colour",
    "drop_fraction",
    "encode_colour",
    "fuse_by_colour",
    "fuse_by_rating",
    "fuse_continuous_fraction",
    "fuse_gate",
    "fuse_ratings_a",
    "gxl_outside_m",
    "insulation_clearance_m",
    "j1128_wall_m",
    "jump_start",
    "load",
    "load_dump",
    "long_term_overvoltage",
    "names",
    "reverse_supply",
    "shrink_range_m",
    "source_of",
    "starting_profile",
    "supply_range",
    "temperature_class_c",
    "vehicle_cable",
    "vehicle_cable_areas_m2",
]
