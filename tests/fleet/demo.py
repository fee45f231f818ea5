"""The demo's fleet: a ferry company's terminals and yards, one story a pair.

`python -m tests.fleet.demo` writes the captures that fixtures/demo doesn't have yet. What is there stays as it is: the
fixtures are edited by hand, and this is only where they began. The inventory in inventory/demo is kept by hand too.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta
from pathlib import Path

from collector.demo import EVENING
from tests.fleet.description import AccessPoint, Core, Dress, File, Package, PairDescription, Switchover
from tests.fleet.making import access_point_rows, healthy_pair
from tests.fleet.writing import write_pair

_LOCK = "*Feb  5 22:00:04.132: %SYS-5-CONFIG_I: Configured from console by duty on vty0 (192.0.2.250)"
_JOIN = "*Feb  5 22:00:06.507: %APMGR_TRACE_MESSAGE-4-JOIN: Chassis 1 R0/0: wncd: 0200.5e10.0201 joined"
_PORT = "Feb  5 2027 22:00:05.024 CET: %LINEPROTO-5-UPDOWN: Line protocol on Interface Te0/0/5, changed state to up"

_CUT_OFF = File("wx-universal.17.12.04.bin", 811_597_824, " Feb 1 2027 10:05:40 +00:00")
_OLD_CORE = Core("causeway-a_1_RP_0_wncd_19822.core.gz", 39_114_006, "Feb 3 2027 17:53:21 +00:00")
_AN_HOUR = timedelta(hours=1)
_MIDSUMMER = EVENING - timedelta(days=219, hours=3, minutes=21)
_SPRING = EVENING - timedelta(days=331, hours=21, minutes=9)
_FAULT = "18:53:40 CET Wed Feb 3 2027"
_LIMITED_SHELL = frozenset(
    {
        "dir bootflash:",
        "show boot",
        "show romvar",
        "show install summary",
        "show rom-monitor chassis active R0",
        "show rom-monitor chassis standby R0",
        "dir bootflash:core",
        "show platform resources",
        "show running-config | include Last configuration change",
        "show running-config | include NVRAM config last updated",
    }
)

_ADDED = (Package("IMG", "C", "17.09.04a.0.6"), Package("IMG", "I", "17.12.04.0.4321"))
_UPGRADE_OF_NEWER_TRAINS = (
    "Current ISSU Status: In Progress",
    "Previous ISSU Operation: N/A",
    "=======================================================",
    "System Check                        Status",
    "-------------------------------------------------------",
    "Platform ISSU Support               Yes",
    "Standby Online                      Yes",
    "Autoboot Enabled                    Yes",
    "SSO Mode                            Yes",
    "Install Boot                        Yes",
    "Valid Boot Media                    Yes",
    "Operational Mode                    HA-REMOTE",
    "=======================================================",
    "Added Image:",
    "Name                                Compatible",
    "-------------------------------------------------------",
    "17.12.04.0.4321                     Yes",
    "=======================================================",
    "Operation type: Step-by-step ISSU",
    "Install type  : Image installation using ISSU",
    "Current state : Added state",
    "Last operation: Added",
    "",
    "Completed operations:",
    "",
    "Operation                           Start time",
    "-------------------------------------------------------",
    "Add location active Chassis 1       2027-02-05:20:31:17",
    "",
    "State transition: Init -> Added",
    "",
    "Auto abort timer: inactive",
    "Running image: bootflash:packages.conf",
    "Operating mode: sso, terminal state reached",
)
_UPGRADE_OF_OLDER_TRAINS = (
    "Slot being modified:     2",
    "Loadversion time:        20270205 20:12:11 on console",
    "Last operation:          loadversion",
    "Rollback:                automatic, remaining time before rollback: 00:35:58",
    "Original (rollback) image:  bootflash:packages.conf",
    "Running image:           bootflash:packages.conf",
    "Operating mode:          sso, terminal state reached",
)
_MISMATCHED = (
    "00:06:31: Config Sync: Starting lines from MCL file:",
    "interface TenGigabitEthernet0/0/5",
    '! <submode> "interface"',
    "- channel-group 7 mode active",
    '! </submode> "interface"',
)


def _ready() -> tuple[PairDescription, ...]:
    return (
        healthy_pair(
            "quay",
            "Harbour Quay",
            0,
            # The history outlives a reload, and `show redundancy` counts anew after one.
            history=(Switchover(1, 2, "user_forced", _SPRING), Switchover(2, 1, "user_forced", _SPRING + _AN_HOUR)),
            access_points=access_point_rows("quay", ("Ramp One", "Car Deck", "Ticket Hall", "Waiting Hall"), 24, 0),
        ),
        healthy_pair(
            "tidewater",
            "Tidewater Terminal",
            1,
            model="WX-VC",
            active=1,
            switchovers=1,
            last_switchover_reason="user forced",
            history=(Switchover(1, 2, "user_forced", _MIDSUMMER),),
            access_points=access_point_rows("tide", ("Gate North", "Gate South", "Bus Stop"), 18, 1, spaced=True),
            dress=Dress(
                system_checks=True,
                access_point_columns="country first",
                heading_every=8,
                load_line=True,
                processor_layout="blocks",
            ),
            window="2027-02-08T01:30:00+01:00",
        ),
        healthy_pair(
            "lantern",
            "Lantern Pier",
            2,
            model="WX-9880",
            second={"refuses": _LIMITED_SHELL},
            access_points=access_point_rows("lantern", ("Pier Head", "Pier Foot", "Kiosk Row"), 12, 2),
            dress=Dress(
                time_line=True, load_line=True, hardware_version=False, carriage_returns=True, processor_layout="blocks"
            ),
            window="2027-02-09T02:00:00+01:00",
        ),
        healthy_pair(
            "estuary",
            "Estuary Crossing",
            3,
            model="WX-VC",
            target_release="17.12.3",
            image_file="wx-universal.17.12.03.bin",
            image_bytes=1_240_000_000,
            access_points=access_point_rows("estuary", ("East Slip", "West Slip"), 9, 3),
            dress=Dress(
                scopes="slots",
                tight_variables=True,
                doubled_blanks=True,
                manual_boot_line=False,
                processor_layout="blocks",
            ),
            second={"synchronised": False, "clock_ahead": 40},
            standby_dress=Dress(scopes="R0", quoted_variables=True, processor_layout="blocks"),
            window="2027-02-10T02:00:00+01:00",
        ),
        healthy_pair(
            "skerry-light",
            "Skerry Light",
            4,
            both={"flash_free": 2_611_458_048},
            second={"rom_monitor": "16.12(4r)", "memory_used": 91},
            access_points=access_point_rows("skerry", ("Landing", "Engine Shed"), 6, 4),
            dress=Dress(indented=True, wrapped_image=True, spelled_mode=True),
            standby_dress=Dress(trailing_blanks=True),
            window="2027-02-11T03:00:00+01:00",
            window_minutes=180,
        ),
    )


def _software() -> tuple[PairDescription, ...]:
    return (
        healthy_pair(
            "breakwater",
            "Breakwater Terminal",
            5,
            second={
                "install_mode": "BUNDLE",
                "image_file": "bootflash:wx-universal.17.09.04a.bin",
                "files": (File("wx-universal.17.09.04a.bin", 1_187_340_144),),
            },
            access_points=access_point_rows("break", ("Lorry Lanes", "Foot Ramp", "Mess Room"), 16, 5),
            dress=Dress(load_line=True, time_line=True),
            window="2027-02-12T23:00:00+01:00",
        ),
        healthy_pair(
            "saltmarsh",
            "Saltmarsh Yard",
            6,
            second={"flash_free": 1_411_203_072},
            access_points=access_point_rows("salt", ("Trailer Park", "Weighbridge", "Cold Store"), 21, 6, spaced=True),
            dress=Dress(access_point_columns="country first", syslog={"dir stby-bootflash:": ((5, _LOCK),)}),
            window="2027-02-13T23:00:00+01:00",
        ),
        healthy_pair(
            "drydock",
            "Dry Dock",
            7,
            model="WX-VC",
            second={
                "packages": (Package("IMG", "C", "17.09.04a.0.6"), Package("IMG", "I", "17.09.05.0.4112")),
                "files": (File("wx-base.17.09.05.pkg", 970_224_116),),
            },
            access_points=access_point_rows("drydock", ("Dock Floor", "Crane Track", "Paint Hall"), 14, 7),
            dress=Dress(timer="once", system_checks=True),
            standby_dress=Dress(timer="never", indented=True),
            window="2027-02-14T23:00:00+01:00",
        ),
        healthy_pair(
            "pilot-station",
            "Pilot Station",
            8,
            release="17.9.5",
            both={"build": "0.4112", "packages": (Package("IMG", "U", "17.09.05.0.4112"),)},
            auto_abort="01:49:42",
            uptime="11 minutes",
            reload=("Image Install", "21:48:31 CET Fri Feb 5 2027"),
            access_points=access_point_rows("pilot", ("Boat House", "Watch Room"), 8, 8),
            dress=Dress(scopes="slots", carriage_returns=True),
            window="2027-02-15T23:00:00+01:00",
        ),
        healthy_pair(
            "capstan",
            "Capstan Wharf",
            9,
            second={
                "boot": ("bootflash:wx-universal.17.06.06.bin", "bootflash:packages.conf"),
                "files": (File("wx-universal.17.06.06.bin", 1_092_771_330),),
            },
            access_points=access_point_rows("capstan", ("Wharf Edge", "Net Loft"), 10, 9),
            dress=Dress(heading_every=4, syslog={"show boot": ((2, _LOCK),), "show version": ((7, _PORT),)}),
            window="2027-02-16T23:00:00+01:00",
        ),
        healthy_pair(
            "kelp-strand",
            "Kelp Strand Depot",
            10,
            both={"rom_monitor": "16.12(4r)"},
            second={"rom_monitor": "16.12(2r)"},
            access_points=access_point_rows("kelp", ("Bus Garage", "Fuel Bay", "Canteen"), 15, 10),
            dress=Dress(manual_boot_line=False, time_line=True),
            window="2027-02-17T23:00:00+01:00",
        ),
    )


def _redundancy() -> tuple[PairDescription, ...]:
    return (
        healthy_pair(
            "gantry",
            "Gantry Yard",
            11,
            mismatched=_MISMATCHED,
            access_points=access_point_rows("gantry", ("Stack A", "Stack B", "Stack C", "Gate House"), 32, 11),
            dress=Dress(access_point_columns="country first", heading_every=16, processor_layout="tables of both"),
            window="2027-02-18T23:00:00+01:00",
        ),
        healthy_pair(
            "pontoon",
            "Pontoon Bridge",
            12,
            model="WX-VC",
            ignored=("- snmp-server location Pontoon Bridge",),
            access_points=access_point_rows("pontoon", ("Span", "Bridge House"), 7, 12),
            dress=Dress(indented=True, load_line=True),
            window="2027-02-19T23:00:00+01:00",
        ),
        healthy_pair(
            "moorings",
            "Outer Moorings",
            13,
            model="WX-VC",
            active=1,
            first={"link_interface": "GigabitEthernet2"},
            access_points=access_point_rows("moorings", ("Buoy Shed", "Tender Steps"), 11, 13),
            dress=Dress(quoted_variables=True, processor_layout="blocks"),
            standby_dress=Dress(tight_variables=True),
            window="2027-02-20T23:00:00+01:00",
        ),
        healthy_pair(
            "spindrift",
            "Spindrift Sands",
            14,
            standby_state="STANDBY COLD",
            operating_mode="rpr",
            standby_failures=2,
            standby_boot_told=False,
            access_points=access_point_rows("spindrift", ("Beach Ramp", "Beach Hut"), 13, 14),
            dress=Dress(system_checks=True, spelled_mode=True, processor_layout="blocks"),
            window="2027-02-21T23:00:00+01:00",
        ),
        healthy_pair(
            "farholm",
            "Farholm Landing",
            15,
            second={"reachable": False},
            peer_lost=True,
            operating_mode="Non-redundant",
            standby_failures=1,
            access_points=access_point_rows("farholm", ("Landing Stage", "Post Office"), 6, 15),
            dress=Dress(load_line=True, time_line=True, doubled_blanks=True),
            window="2027-02-22T23:00:00+01:00",
        ),
        healthy_pair(
            "slipway",
            "North Slipway",
            16,
            model="WX-VC",
            both={"packages": _ADDED, "files": (File("wx-base.17.12.04.pkg", 1_022_411_908),)},
            upgrade=_UPGRADE_OF_NEWER_TRAINS,
            access_points=access_point_rows("slipway", ("Cradle", "Winch House"), 17, 16, spaced=True),
            window="2027-02-05T20:00:00+01:00",
        ),
        healthy_pair(
            "windlass",
            "Windlass Works",
            17,
            release="17.6.6",
            both={"build": "0.2231"},
            upgrade=_UPGRADE_OF_OLDER_TRAINS,
            access_points=access_point_rows("windlass", ("Plate Shop", "Rope Store", "Yard"), 19, 17),
            dress=Dress(hardware_version=False, trailing_blanks=True),
            window="2027-02-05T20:00:00+01:00",
        ),
    )


def _plan() -> tuple[PairDescription, ...]:
    return (
        healthy_pair(
            "gull-rock",
            "Gull Rock",
            18,
            release="17.3.6",
            both={"build": "0.1540"},
            staged=False,
            zone="UTC",
            reload=("Reload Command", "16:48:07 UTC Wed Jul 1 2026"),
            access_points=access_point_rows("gull", ("Rock Stairs", "Bird Hide"), 6, 18, staging="None"),
            dress=Dress(carriage_returns=True, manual_boot_line=False),
            window="2027-02-23T23:00:00+00:00",
        ),
        healthy_pair(
            "north-mole",
            "North Mole",
            19,
            model="WX-9880",
            release="17.12.3",
            both={"build": "0.3115"},
            target_release="17.13.1",
            image_file="wx-universal.17.13.01.bin",
            image_bytes=1_270_000_000,
            access_points=access_point_rows("mole", ("Mole Head", "Crane Bay", "Customs Shed"), 27, 19),
            dress=Dress(access_point_columns="country first", system_checks=True, processor_layout="blocks"),
            window="2027-02-24T23:00:00+01:00",
        ),
        healthy_pair(
            "ropewalk",
            "Ropewalk Offices",
            20,
            model="WX-9820",
            access_points=access_point_rows("ropewalk", ("Ground Floor", "First Floor", "Attic"), 20, 20),
            dress=Dress(wrapped_image=True),
            window="2027-02-25T23:00:00+01:00",
        ),
        healthy_pair(
            "fairlead",
            "Fairlead Yard",
            21,
            second={"model": "WX-9880"},
            access_points=access_point_rows("fairlead", ("Chain Locker", "Sail Loft"), 12, 21),
            dress=Dress(syslog={"show redundancy": ((7, _JOIN), (14, _LOCK)), "show chassis rmi": ((6, _PORT),)}),
            window="2027-02-26T23:00:00+01:00",
        ),
        healthy_pair(
            "bollard",
            "Bollard Street",
            22,
            model="WX-VC",
            second={"release": "17.9.5", "build": "0.4112"},
            access_points=access_point_rows("bollard", ("Street Side", "Water Side"), 40, 22),
            dress=Dress(scopes="slots", timer="once", heading_every=20),
            window="2027-02-27T23:00:00+01:00",
        ),
        healthy_pair(
            "fogbank",
            "Fogbank Point",
            23,
            second={"refuses": frozenset({"show version", *_LIMITED_SHELL})},
            access_points=access_point_rows("fogbank", ("Horn House", "Keeper's Cottage"), 8, 23),
            dress=Dress(time_line=True),
            window="2027-02-28T23:00:00+01:00",
        ),
    )


def _surroundings() -> tuple[PairDescription, ...]:
    return (
        healthy_pair(
            "causeway",
            "Causeway Halt",
            24,
            active=1,
            first={
                "uptime": "2 days, 3 hours, 1 minute",
                "reload": ("Critical process fault", _FAULT),
                "cores": (_OLD_CORE,),
            },
            second={"cores": (Core("causeway-b_2_RP_0_wncd_23411.core.gz", 41_203_871, "Feb 4 2027 02:14:22 +00:00"),)},
            switchovers=1,
            last_switchover_reason="active unit failed",
            state_uptime="2 days, 2 hours, 54 minutes",
            history=(Switchover(1, 2, "active_unit_failed", EVENING - timedelta(days=2, hours=3, minutes=6)),),
            access_points=access_point_rows("causeway", ("Ticket Booth", "Tide Gauge"), 8, 24),
            dress=Dress(processor_layout="tables of both", system_checks=True),
            window="2027-03-01T23:00:00+01:00",
        ),
        healthy_pair(
            "sandbar",
            "Sandbar Halt",
            25,
            model="WX-VC",
            changed=EVENING - timedelta(days=1, hours=5, minutes=17, seconds=8),
            access_points=(
                *access_point_rows("sandbar", ("Jetty", "Boat Store"), 7, 25),
                *_LOST_AT_SANDBAR,
            ),
            dress=Dress(processor_layout="blocks"),
            window="2027-03-02T23:00:00+01:00",
        ),
        healthy_pair(
            "twin-beacons",
            "Twin Beacons",
            26,
            split=True,
            operating_mode="Non-redundant",
            access_points=access_point_rows("twin", ("North Beacon", "South Beacon"), 8, 26),
            dress=Dress(manual_boot_line=False),
            window="2027-03-03T23:00:00+01:00",
        ),
        healthy_pair(
            "cutwater",
            "Cutwater Yard",
            27,
            first={"peer_mac": "0200.5e00.c0de"},
            access_points=access_point_rows("cutwater", ("Bow Shed", "Stern Shed"), 8, 27),
            dress=Dress(hardware_version=False),
            window="2027-03-04T23:00:00+01:00",
        ),
        healthy_pair(
            "shingle-bank",
            "Shingle Bank",
            28,
            access_points=_with_old_model(access_point_rows("shingle", ("Ramp", "Shelter"), 9, 28)),
            dress=Dress(access_point_columns="country first", processor_layout="tables of both"),
            window="2027-03-05T23:00:00+01:00",
        ),
        healthy_pair(
            "night-ferry",
            "Night Ferry Hall",
            29,
            access_points=_half_staged(access_point_rows("night", ("Hall", "Gangway"), 9, 29)),
            dress=Dress(processor_layout="blocks", load_line=True),
            window="2027-02-06T02:00:00+01:00",
        ),
        healthy_pair(
            "half-tide",
            "Half Tide Landing",
            30,
            model="WX-9880",
            second={"files": (_CUT_OFF,)},
            access_points=access_point_rows("half", ("Upper Step", "Lower Step"), 6, 30),
            dress=Dress(time_line=True),
            window="2027-03-07T23:00:00+01:00",
        ),
        healthy_pair(
            "sea-wall",
            "Sea Wall Depot",
            31,
            model="WX-VC",
            certificate=(EVENING - timedelta(days=3627, minutes=698), EVENING + timedelta(days=23, minutes=22)),
            access_points=access_point_rows("seawall", ("Tool Store", "Pump House"), 7, 31),
            dress=Dress(indented=True),
            window="2027-03-08T23:00:00+01:00",
        ),
    )


def _with_old_model(rows: tuple[AccessPoint, ...]) -> tuple[AccessPoint, ...]:
    """Every third one is of a model that the target's train has dropped."""
    return tuple(replace(ap, model="WX-AP11") if turn % 3 == 0 else ap for turn, ap in enumerate(rows, 1))


def _half_staged(rows: tuple[AccessPoint, ...]) -> tuple[AccessPoint, ...]:
    """Two are still loading the target's image and one has given up."""
    behind = {3: "Predownloading", 5: "Initiated", 8: "Failed"}
    return tuple(replace(ap, staging=behind.get(turn, "Complete")) for turn, ap in enumerate(rows, 1))


_LOST_AT_SANDBAR = (
    AccessPoint(
        "sandbar-jetty-end-08",
        25 * 64 + 8,
        "WX-AP31-OUTDOOR",
        "Jetty",
        "203.0.113.8",
        failure=("Dtls", "DTLS close alert from peer"),
    ),
    AccessPoint(
        "sandbar-dinghy-rack-10",
        25 * 64 + 10,
        "WX-AP20",
        "Boat Store",
        "203.0.113.10",
        failure=("Image-Download", "Max retransmission to AP"),
    ),
)


DEMO: tuple[PairDescription, ...] = (*_ready(), *_software(), *_redundancy(), *_plan(), *_surroundings())


def write_missing(folder: Path) -> list[Path]:
    """Write the demo's captures that the folder doesn't have yet."""
    return [path for pair in DEMO for path in write_pair(pair, folder, anew=False, deep=True)]


if __name__ == "__main__":
    for written in write_missing(Path("fixtures/demo")):
        print(written)
