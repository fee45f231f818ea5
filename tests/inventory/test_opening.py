from __future__ import annotations

import subprocess
import sys
from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest

from inventory.opening import open_inventory
from inventory.problems import InventoryError

RULES = {"flash-space": True, "config-sync": True, "pair-state": False}


def problems(folder: Path) -> list[str]:
    with pytest.raises(InventoryError) as raised:
        open_inventory(folder, RULES)
    return [str(problem).removeprefix(f"{folder}/") for problem in raised.value.problems]


def replace(path: Path, old: str, new: str) -> None:
    text = path.read_text()
    assert old in text
    path.write_text(text.replace(old, new, 1))


def test_a_sound_inventory_gives_its_pair(folder: Path) -> None:
    fleet = open_inventory(folder, RULES)
    (pair,) = fleet.pairs
    assert (pair.name, pair.site, pair.target_release) == ("quay", "Harbour Quay", "17.12.4")
    assert [(member.name, member.hostname, member.port) for member in pair.members] == [
        ("quay-a", "192.0.2.11", 22),
        ("quay-b", "192.0.2.12", 22),
    ]
    assert pair.image is not None
    assert (pair.image.file, pair.image.bytes) == ("wx-universal.17.12.04.bin", 1250000000)
    assert pair.window is not None
    assert pair.window.start.utcoffset() == timedelta(hours=1)
    assert pair.window.end - pair.window.start == timedelta(hours=4)
    assert fleet.policy.hardware["WX-VC"].kind == "virtual"
    assert fleet.unpaired == ()


def test_a_padded_target_is_the_plain_release(folder: Path) -> None:
    replace(folder / "groups.yaml", "17.12.4", "17.12.04")
    assert open_inventory(folder, RULES).pairs[0].target_release == "17.12.4"


def test_images_of_other_releases_stand_beside_the_targets(folder: Path) -> None:
    replace(folder / "groups.yaml", "    window", "    images: {17.09.05: {file: five.bin, bytes: 7}}\n    window")
    (pair,) = open_inventory(folder, RULES).pairs
    assert {release: (image.file, image.bytes) for release, image in pair.images.items()} == {"17.9.5": ("five.bin", 7)}
    assert pair.image is not None
    assert pair.image.file == "wx-universal.17.12.04.bin"


def test_the_targets_image_may_stand_among_the_others(folder: Path) -> None:
    replace(folder / "groups.yaml", "image: {file: ", "images: {17.12.4: {file: ")
    replace(folder / "groups.yaml", "bytes: 1250000000}", "bytes: 1250000000}}")
    (pair,) = open_inventory(folder, RULES).pairs
    assert pair.image == pair.images["17.12.4"]


def test_hosts_outside_every_pair_are_named(folder: Path) -> None:
    with (folder / "hosts.yaml").open("a") as file:
        file.write("printer: {hostname: 192.0.2.99}\n")
    assert open_inventory(folder, RULES).unpaired == ("printer",)


@pytest.mark.parametrize(
    ("file", "old", "new", "expected"),
    [
        ("groups.yaml", "    site: Harbour Quay\n", "", "groups.yaml: quay.data.site: is missing; add it"),
        (
            "groups.yaml",
            "17.12.4",
            "banana",
            "groups.yaml: quay.data.target_release: 'banana' is not a release such as 17.9.4a",
        ),
        ("groups.yaml", "17.12.4", "17.12", "groups.yaml: quay.data.target_release: write it in quotes"),
        ("groups.yaml", "1250000000", "lots", "groups.yaml: quay.data.image.bytes: must be a whole number"),
        (
            "groups.yaml",
            "1250000000",
            "0",
            "groups.yaml: quay.data.image.bytes: input should be greater than or equal to 1",
        ),
        ("groups.yaml", "bytes: ", "size: ", "groups.yaml: quay.data.image.bytes: is missing; add it"),
        ("groups.yaml", "wx-universal", "bootflash:wx", "groups.yaml: quay.data.image.file: must be a file's name"),
        ("groups.yaml", "+01:00", "", "groups.yaml: quay.data.window.start: must say its offset from UTC"),
        (
            "groups.yaml",
            "    window",
            "    images: {17.12.4: {file: other.bin, bytes: 7}}\n    window",
            "groups.yaml: quay.data.images.17.12.4: differs from `image`, which is of the same release; correct one",
        ),
        (
            "groups.yaml",
            "    window",
            "    images: {17.9.4: {file: a.bin, bytes: 7}, 17.09.04: {file: b.bin, bytes: 8}}\n    window",
            "groups.yaml: quay.data.images: 17.9.4 and 17.09.04 are the same; take one of them out",
        ),
        (
            "groups.yaml",
            "    window",
            "    images: {17.9.4: {file: a.bin}}\n    window",
            "groups.yaml: quay.data.images.17.9.4.bytes: is missing; add it",
        ),
        (
            "policy.yaml",
            '  "17.13"',
            '  "17.09": {long_lived: true}\n  "17.13"',
            "policy.yaml: trains: 17.9 and 17.09 are",
        ),
        ("groups.yaml", "pair: quay", "pair: 7", "groups.yaml: quay.data.pair: must be text"),
        (
            "groups.yaml",
            "groups: [controllers]",
            "groups: [boats]",
            "groups.yaml: quay.groups: there is no group 'boats'",
        ),
        (
            "groups.yaml",
            "controllers: {",
            "controllers: {groups: [quay], ",
            "groups.yaml: quay.groups: the group is its own",
        ),
        (
            "groups.yaml",
            "controllers: {",
            "controllers: {colour: red, ",
            "groups.yaml: controllers.colour: isn't a key that",
        ),
        (
            "hosts.yaml",
            "groups: [quay]}\nquay-b",
            "groups: [pier]}\nquay-b",
            "hosts.yaml: quay-a.groups: there is no group",
        ),
        (
            "hosts.yaml",
            "192.0.2.12",
            "192.0.2.11",
            "hosts.yaml: quay-b.hostname: has the same address and port as quay-a",
        ),
        (
            "hosts.yaml",
            "quay-b: ",
            "quay-a: ",
            "hosts.yaml: isn't valid YAML: line 2, column 1: the key 'quay-a' is given twice",
        ),
        ("hosts.yaml", "quay-b: ", '"../b": ', "hosts.yaml: ../b: a member's name must be usable as a folder's name"),
        (
            "hosts.yaml",
            "quay-b: {",
            "quay-b: {data: {site: Elsewhere}, ",
            "hosts.yaml: quay-b.data.site: differs from what",
        ),
        (
            "hosts.yaml",
            "quay-b: {hostname: 192.0.2.12, groups: [quay]}",
            "quay-b: 5",
            "hosts.yaml: quay-b: must hold keys and",
        ),
        ("hosts.yaml", "quay-b: {", "quay-b: {port: 99999, ", "hosts.yaml: quay-b.port: must be from 1 to 65535"),
        ("hosts.yaml", "quay-b: {", "quay-b: {port: 0, ", "hosts.yaml: quay-b.port: must be from 1 to 65535"),
        (
            "hosts.yaml",
            "quay-b: {",
            "quay-b: {connection_options: {ssh: {port: -22}}, ",
            "hosts.yaml: quay-b.connection_options.ssh.port: must be from 1 to 65535",
        ),
        (
            "groups.yaml",
            "{platform",
            "{port: 65536, platform",
            "groups.yaml: controllers.port: must be from 1 to 65535",
        ),
        ("defaults.yaml", "{}", "{port: 65536}", "defaults.yaml: port: must be from 1 to 65535"),
        ("hosts.yaml", "quay-b: {", "quay-b: {port: ssh, ", "hosts.yaml: quay-b.port: must be a whole number"),
        ("hosts.yaml", "quay-b: {", "quay-b: [", "hosts.yaml: isn't valid YAML: line 2"),
        ("defaults.yaml", "{}", "[]", "defaults.yaml: must hold keys and values"),
        ("policy.yaml", "minimum_release: 17.3.1\n", "", "policy.yaml: minimum_release: is missing; add it"),
        (
            "policy.yaml",
            "physical",
            "steam",
            "policy.yaml: hardware.WX-9840.kind: input should be 'physical' or 'virtual'",
        ),
        (
            "policy.yaml",
            "true, rom",
            "'yes', rom",
            "policy.yaml: hardware.WX-9840.in_service_upgrade: must be true or false",
        ),
        (
            "policy.yaml",
            "16.12(3r)",
            "sixteen",
            "policy.yaml: hardware.WX-9840.rom_monitor_minimum: 'sixteen' is not a ROM",
        ),
        ("policy.yaml", '"17.13"', "17.13", "policy.yaml: trains.17.13: write it in quotes"),
        ("policy.yaml", 'to: "17.12"', "to: 17.12", "policy.yaml: upgrade_paths.0.to: write it in quotes"),
        ("policy.yaml", "rules: {}", "rules: {flash: off}", "policy.yaml: rules.flash: there is no rule 'flash'"),
        (
            "policy.yaml",
            "images_to_hold",
            "images_to_keep",
            "policy.yaml: images_to_keep: isn't a key that readypair knows",
        ),
    ],
)
def test_each_mistake_names_file_and_key(folder: Path, file: str, old: str, new: str, expected: str) -> None:
    replace(folder / file, old, new)
    assert any(line.startswith(expected) for line in problems(folder)), problems(folder)


@pytest.mark.parametrize(
    "members", ["quay-a: {groups: [quay]}\n", "a: {groups: [quay]}\nb: {groups: [quay]}\nc: {groups: [quay]}\n"]
)
def test_a_pair_has_two_members(folder: Path, members: str) -> None:
    (folder / "hosts.yaml").write_text(members)
    assert any("groups.yaml: quay.data.pair: pair 'quay' must have two members" in line for line in problems(folder))


def test_all_mistakes_of_all_files_come_at_once(folder: Path) -> None:
    replace(folder / "groups.yaml", "    site: Harbour Quay\n", "")
    replace(folder / "groups.yaml", "17.12.4", "banana")
    replace(folder / "policy.yaml", "images_to_hold: 3", "images_to_hold: 99")
    replace(folder / "policy.yaml", "physical", "steam")
    assert len(problems(folder)) == 4


def test_an_empty_inventory_is_a_mistake(folder: Path) -> None:
    (folder / "hosts.yaml").write_text("")
    assert problems(folder) == ["hosts.yaml: no host belongs to a pair; give a group of two hosts data.pair"]


@pytest.mark.parametrize(
    ("key", "name", "expected"),
    [
        ("pair", '"quay "', "has a blank in front or at its end, which nobody sees; take it out"),
        ("pair", '" quay"', "has a blank in front or at its end, which nobody sees; take it out"),
        ("site", '"Harbour Quay "', "has a blank in front or at its end, which nobody sees; take it out"),
        ("pair", '"*"', "holds one of * ? [, which stand for any other name where pairs are chosen; take it out"),
        ("pair", '"qua?"', "holds one of * ? [, which stand for any other name where pairs are chosen; take it out"),
        ("pair", '"quay[1]"', "holds one of * ? [, which stand for any other name where pairs are chosen; take it out"),
    ],
)
def test_a_name_that_stands_for_others_or_looks_like_them_is_refused(
    folder: Path, key: str, name: str, expected: str
) -> None:
    was = {"pair": "pair: quay", "site": "site: Harbour Quay"}[key]
    replace(folder / "groups.yaml", f"{was}\n", f"{key}: {name}\n")
    assert problems(folder) == [f"groups.yaml: quay.data.{key}: {expected}"]


def test_pairs_that_differ_by_capitals_only_are_refused(folder: Path) -> None:
    with (folder / "hosts.yaml").open("a") as file:
        file.writelines(f"pier-{each}: {{hostname: 192.0.2.2{each}, groups: [pier]}}\n" for each in (1, 2))
    with (folder / "groups.yaml").open("a") as file:
        file.write("pier: {data: {pair: Quay, site: North Pier, target_release: 17.12.4}}\n")
    message = "pair 'Quay' differs from pair 'quay' by capitals only; rename one of them"
    assert problems(folder) == [f"groups.yaml: pier.data.pair: {message}"]


@pytest.mark.parametrize("file", ["hosts.yaml", "policy.yaml"])
def test_a_missing_file_is_named(folder: Path, file: str) -> None:
    (folder / file).unlink()
    assert [line.split(":")[0] for line in problems(folder)] == [file]


def test_a_missing_folder_is_named(tmp_path: Path) -> None:
    with pytest.raises(InventoryError, match="there is no such inventory folder"):
        open_inventory(tmp_path / "nowhere", RULES)


def test_a_file_in_place_of_the_folder_is_told_as_one(folder: Path) -> None:
    assert problems(folder / "hosts.yaml") == [f"{folder / 'hosts.yaml'}: is a file; name a folder"]


@pytest.mark.parametrize("text", ["a: &a [*a]\n", "a: &a {b: *a}\n"])
def test_cyclic_yaml_is_refused(folder: Path, text: str) -> None:
    (folder / "policy.yaml").write_text(text)
    assert problems(folder) == ["policy.yaml: its anchors and aliases are cyclic or grow out of hand; write them out"]


def test_yaml_that_grows_out_of_hand_is_refused(folder: Path) -> None:
    lines = ["a0: &a0 [x, x, x, x, x, x, x, x, x, x]"]
    lines += [f"a{n}: &a{n} [{', '.join([f'*a{n - 1}'] * 10)}]" for n in range(1, 9)]
    (folder / "policy.yaml").write_text("\n".join(lines))
    assert problems(folder) == ["policy.yaml: its anchors and aliases are cyclic or grow out of hand; write them out"]


@pytest.mark.parametrize(("file", "remedy"), [("hosts", "split the inventory"), ("policy", "shorten it")])
def test_a_limit_is_told_as_one(folder: Path, file: str, remedy: str) -> None:
    path = folder / f"{file}.yaml"
    path.write_text("a: [" + "1, " * 300_000 + "]\n")
    assert problems(folder) == [f"{file}.yaml: holds more than 300,000 values, from line 1, column 899996 on; {remedy}"]
    path.write_text("# " + "x" * 20_000_000)
    assert problems(folder) == [f"{file}.yaml: is larger than 20 MB; {remedy}"]
    path.write_text("a: " + "[" * 101 + "]" * 101)
    assert problems(folder) == [
        f"{file}.yaml: holds values more than 100 deep, at line 1, column 103; write them flatter"
    ]


@pytest.mark.parametrize(
    ("text", "place"),
    [
        ("a:\n\tb: 1\n", "line 2, column 1"),
        ("a: 1\r\n  \tb: 2\r\n", "line 2, column 5"),
        ("b:\n  -\tx\n  - {\n", "line 2, column 4"),
        ("# \x85a: 1\u2028\tb: 1\n", "line 3, column 1"),
    ],
)
def test_a_tab_is_named(folder: Path, text: str, place: str) -> None:
    (folder / "policy.yaml").write_text(text)
    assert problems(folder) == [f"policy.yaml: isn't valid YAML: {place}: a tab; indent with blanks"]


@pytest.mark.parametrize("text", ["a: [\n", "a: {\n\tb: 2}\nc: ]\n", "a: %\tb\n", '\ta: "b\n'])
def test_a_tab_is_not_blamed_for_what_another_line_does(folder: Path, text: str) -> None:
    (folder / "policy.yaml").write_text(text)
    assert not any("tab" in line for line in problems(folder) if "line 1" not in line)


def test_nornirs_own_config_chooses_another_inventory_plugin(folder: Path) -> None:
    from nornir.core.inventory import Defaults, Group, Groups, Host, Hosts, Inventory, ParentGroups
    from nornir.core.plugins.inventory import InventoryPluginRegister

    class FromElsewhere:
        def load(self) -> Inventory:
            data = {"pair": "pier", "site": "North Pier", "target_release": "17.12.4"}
            pier = Group("pier", data=data)
            hosts = {name: Host(name, groups=ParentGroups([pier])) for name in ("pier-1", "pier-2")}
            return Inventory(hosts=Hosts(hosts), groups=Groups({"pier": pier}), defaults=Defaults())

    InventoryPluginRegister.register("FromElsewhere", FromElsewhere)
    (folder / "hosts.yaml").unlink()
    (folder / "config.yaml").write_text("inventory: {plugin: FromElsewhere}\n")
    assert [pair.name for pair in open_inventory(folder, RULES).pairs] == ["pier"]


@pytest.mark.parametrize(("port", "problem"), [(99999, "must be from 1 to 65535"), ("ssh", "must be a whole number")])
@pytest.mark.parametrize("where", ["port", "connection_options.ssh.port"])
def test_a_port_from_another_inventory_plugin_is_looked_at_too(
    folder: Path, port: object, problem: str, where: str
) -> None:
    from nornir.core.inventory import ConnectionOptions, Defaults, Group, Groups, Host, Hosts, Inventory, ParentGroups
    from nornir.core.plugins.inventory import InventoryPluginRegister

    given: Any = {"port": port} if where == "port" else {"connection_options": {"ssh": ConnectionOptions(port=port)}}  # type: ignore[arg-type]

    class WithPorts:
        def load(self) -> Inventory:
            pier = Group("pier", data={"pair": "pier", "site": "North Pier", "target_release": "17.12.4"}, **given)
            hosts = {name: Host(name, groups=ParentGroups([pier])) for name in ("pier-1", "pier-2")}
            return Inventory(hosts=Hosts(hosts), groups=Groups({"pier": pier}), defaults=Defaults())

    InventoryPluginRegister.register(f"WithPorts {port} {where}", WithPorts)
    (folder / "config.yaml").write_text(f"inventory: {{plugin: WithPorts {port} {where}}}\n")
    assert problems(folder) == [f"config.yaml: {name}.{where}: {problem}" for name in ("pier-1", "pier-2")]


@pytest.mark.parametrize("text", ["", "# nothing is common\n", "{}\n"])
def test_nornir_prints_no_warnings_of_its_own(folder: Path, text: str) -> None:
    (folder / "defaults.yaml").write_text(text)
    script = (
        f"from inventory.opening import open_inventory as o; from pathlib import Path; o(Path({str(folder)!r}), {{}})"
    )
    done = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True, check=True)
    assert (done.stdout, done.stderr) == ("", "")


def test_nornirs_own_logging_tells_whoever_configures_it(folder: Path) -> None:
    log = folder / "nornir.log"
    (folder / "defaults.yaml").write_text("")
    (folder / "config.yaml").write_text(f"logging: {{enabled: true, level: WARNING, log_file: {log}}}\n")
    script = (
        f"from inventory.opening import open_inventory as o; from pathlib import Path; o(Path({str(folder)!r}), {{}})"
    )
    subprocess.run([sys.executable, "-c", script], capture_output=True, text=True, check=True)
    assert "is empty or contains only comments" in log.read_text()


@pytest.mark.parametrize(
    "text", ["inventory: {plugin: NoSuchThing}\n", "inventory: 7\n", "inventory: {options: [1]}\n", "colour: red\n"]
)
def test_a_config_that_nornir_cannot_use_is_one_sentence(folder: Path, text: str) -> None:
    (folder / "config.yaml").write_text(text)
    assert all(line.startswith("config.yaml: ") for line in problems(folder))


def test_relative_files_of_nornirs_config_stand_in_the_inventory_folder(folder: Path) -> None:
    (folder / "hosts.yaml").rename(folder / "ships.yaml")
    (folder / "config.yaml").write_text("inventory: {options: {host_file: ships.yaml}}\n")
    assert [pair.name for pair in open_inventory(folder, RULES).pairs] == ["quay"]


def test_a_bare_off_turns_a_rule_off(folder: Path) -> None:
    replace(folder / "policy.yaml", "rules: {}", "rules: {flash-space: off, config-sync: caution}")
    assert open_inventory(folder, RULES).policy.rules == {"flash-space": "off", "config-sync": "caution"}
