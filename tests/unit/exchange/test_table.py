"""Paperwork in several styles, hand-written; how each writes things is common practice, there is no standard for it."""

from __future__ import annotations

from bridge.exchange.found import Found, FoundFixture
from bridge.exchange.table import read_table


def read(text: str, **maps: str) -> Found:
    return read_table(text.encode(), "paper.csv", maps)


def only(text: str, **maps: str) -> FoundFixture:
    found = read(text, **maps)
    assert len(found.fixtures) == 1, found
    return found.fixtures[0]


def asked(found: Found, *words: str) -> bool:
    return any(all(word in text for word in words) for text in found.questions)


GERMAN = """\
Harbour Hall;Lampenliste;;;;;;
;;;;;;;
Kanal;Bezeichnung;Gerätetyp;Position;DMX-Adresse;X (m);Y (m);Höhe (m)
101;FOH 1;Spot 540;FOH;1.001;-4,50;-12,0;9,25
102;FOH 2;Spot 540;FOH;1.025;1.000;-12,0;9,25
103;FOH 3;Spot 540;FOH;0;-1,50;-12,0;9,25
Summe;3;;;;;;
"""


def test_a_german_list_with_titles_above_and_a_total_below() -> None:
    found = read(GERMAN.replace("1.000;-12", "1,000;-12"))
    first, second = found.fixtures
    assert first == FoundFixture(
        name="FOH 1", number="101", where="row 4, FOH 1", type="Spot 540", universe=1, address=1,
        at=(-4.5, -12.0, 9.25), truss="FOH",
    )  # fmt: skip
    assert (second.universe, second.address, second.at) == (1, 25, (1.0, -12.0, 9.25))
    assert {(skip.what, skip.why) for skip in found.skipped} == {
        ("row 6, FOH 3", "not patched"),
        ("row 7, 3", "a total, no head"),
    }
    assert found.questions == ()


def test_a_point_of_thousands_among_decimal_commas_is_no_place_on_a_stage() -> None:
    found = read(GERMAN)  # 1.000 where the other cells have decimal commas
    assert found.fixtures[1].at is None
    assert asked(found, "row 5, FOH 2", "'1.000'", "1000 m")


def test_feet_and_inches() -> None:
    at = only('Name,Patch,X,Y,Trim\nfoh 1,1/23,"-10\'-6 1/2""",40ft 6in,126 in\n').at
    # 1 in = 25.4 mm exactly (1959 yard and pound agreement)
    assert at is not None
    assert [round(value, 9) for value in at] == [-3.2131, 12.3444, 3.2004]
    assert only("Name,Patch,X (ft),Y ft,Height [in]\nfoh 1,1/23,-10,40.5,126\n").at == (-3.048, 12.3444, 3.2004)


def test_units_in_the_heading_and_in_a_line_below_it() -> None:
    assert only("Name,DMX,X (mm),Y [mm],Z_mm\nfoh-1,535,-4000,-12000,9000\n").at == (-4.0, -12.0, 9.0)
    assert only("Name,DMX,X,Y,Z\n,,mm,mm,mm\nfoh-1,535,-4000,-12000,9000\n").at == (-4.0, -12.0, 9.0)


def test_numbers_that_can_be_no_metres_are_asked_and_a_map_answers() -> None:
    text = "Name,DMX,X,Y,Z\nfoh-1,535,-4000,-12000,9000\nfoh-2,560,0,-12000,9000\n"
    found = read(text)
    assert [fixture.at for fixture in found.fixtures] == [None, None]
    assert asked(found, "'Y'", "no unit")
    assert found.asks[0].about == "X"
    assert "at.x mm" in found.asks[0].choices
    told = read(text, X="at.x mm", Y="y mm", Z="at.z mm")
    assert [fixture.at for fixture in told.fixtures] == [(-4.0, -12.0, 9.0), (0.0, -12.0, 9.0)]


def test_hanging_and_standing() -> None:
    text = "Name,DMX,Hung,Yaw\na,535,Hanging,90\nb,560,floor,\nc,585,,-45\nd,610,,\ne,635,sideways,\n"
    found = read(text)
    hangs = [fixture.hang for fixture in found.fixtures]
    assert hangs == [(90.0, 0.0, 0.0), (0.0, 0.0, 180.0), (-45.0, 0.0, 0.0), None, None]
    assert asked(found, "row 6, e", "'sideways'")


def test_decimal_marks() -> None:
    head = "Name;DMX;X (m);Y (m);Z (m)\n"
    assert only(head + "a;535;1,250;-12,000;9,000\n").at == (1.25, -12.0, 9.0)  # 12 km is no stage
    assert only(head + "a;535;1.250;-12.000;9.000\n").at == (1.25, -12.0, 9.0)
    assert only(head + "a;535;+1,5;-1.012,25 cm;9 000 mm\n").at == (1.5, -10.1225, 9.0)
    assert only(head + "a;535;1.5;-1,012.25 cm;9\u00a0000 mm\n").at == (1.5, -10.1225, 9.0)
    quoted = only('Name,DMX,X,Y,Z\na,535,"-3,25","0,5",9\n')
    assert quoted.at == (-3.25, 0.5, 9.0)


def test_marks_that_may_be_of_thousands() -> None:
    found = read("Name;DMX;X [mm];Y [mm];Z [mm]\na;535;4.500;-12.000;900\n")
    assert found.fixtures[0].at == (4.5, -12.0, 0.9)
    assert asked(found, "'X [mm]'", "'4.500'", "thousands")
    open_ones = read('Name,DMX,X,Y,Z\na,535,"1,250",2,3\n')
    assert open_ones.fixtures[0].at is None
    assert asked(open_ones, "row 2, a", "'1,250' may be thousands or decimals")
    mixed = read('Name,DMX,X,Y,Z\na,535,"1,5",2.5,1.250\n')
    assert mixed.fixtures[0].at is None
    assert asked(mixed, "'1.250' may be thousands or decimals")


def test_headings_of_no_office_are_asked_and_maps_answer() -> None:
    text = "Lampada,Dove,Filo\nfoh-1,Bridge,1/5\n"
    found = read(text)
    assert found.fixtures == ()
    assert found.skipped == ()
    assert [ask.about for ask in found.asks] == ["Lampada", "Dove", "Filo"]
    head = only(text, Lampada="name", Dove="truss", Filo="address")
    assert (head.name, head.truss, head.universe, head.address) == ("foh-1", "Bridge", 1, 5)
    assert read("Name,Type,Channel,Universe\nfoh-1,Spot,5,1\n").asks[0].about == "Channel"


def test_a_map_goes_before_a_heading_and_may_ignore_it() -> None:
    text = "Name,Purpose,DMX,Channel\nfoh-1,key left,1/5,12\n"
    assert only(text, Purpose="name", Channel="ignore").name == "key left"
    assert only(text, purpose="name", CHANNEL="ignore").number == ""


def test_half_a_place_is_none_and_said() -> None:
    found = read("Name,DMX,X (m),Y (m),Z (m)\na,535,1,,3\nb,560,1,2,high\n")
    assert [fixture.at for fixture in found.fixtures] == [None, None]
    assert asked(found, "row 2, a", "not all of x, y and z")
    assert asked(found, "row 3, b", "'high' is no length")
    partly = read("Name,DMX,Trim\na,535,9\n")
    assert partly.fixtures[0].at is None
    assert any("no column for x, y" in note for note in partly.notes)


def test_some_columns_with_units_and_some_without_are_asked() -> None:
    found = read("Name,DMX,X,Y,Trim (ft)\na,535,10,20,30\n")
    assert found.fixtures[0].at is None
    assert asked(found, "'X' has no unit, and other columns have ft")


def test_what_is_not_read_is_listed_once_and_what_is_missing_is_asked() -> None:
    found = read("Name,Gel,Weight,Notes\nfoh-1,L201,20 kg,spare\n")
    assert "not read: 'Gel', 'Weight'" in found.notes
    assert [ask.about for ask in found.asks] == ["Gel", "Weight"]
    assert asked(found, "the address")
    whole = read("Name,Gel,Weight,Addr\nfoh-1,L201,20 kg,1/5\n")
    assert whole.asks == ()


def test_a_unit_is_a_serial_number_or_a_place_on_a_truss() -> None:
    assert only("Name,Addr,Unit\nfoh-1,1/5,A-1043\n").keys == {"unit": "A-1043"}
    found = read("Name,Addr,Unit\nfoh-1,1/5,1\n")
    assert found.fixtures[0].keys == {}
    assert "not read: 'Unit'" in found.notes
    nameless = only("Position,Unit #,Addr\nFOH,3,1/5\n")
    assert (nameless.name, nameless.number, nameless.truss) == ("FOH 3", "3", "FOH")
    assert only("Position,Unit,Addr\nFOH,3,1/5\n").name == "FOH 3"


def test_keys_of_the_rig_and_those_that_it_would_refuse() -> None:
    text = (
        "name,address,x (m),y (m),z (m),at sigma,hang sigma,follows,outside,lag,evenness\n"
        'a,1/1,0,0,5,"0.3 0.3 0.1",0.5,lead,stay,120 ms,key\n'
        "b,1/50,0,0,5,0.2,500,the lead,away,9,\n"
    )
    first, second = read(text).fixtures
    hang = {"yaw": 0.0, "pitch": 0.0, "roll": 0.0, "sigma": 0.5}
    assert first.keys == {
        "follows": "lead", "outside": "stay", "lag": 0.12, "evenness": "key", "at_sigma": [0.3, 0.3, 0.1], "hang": hang,
    }  # fmt: skip
    assert second.keys == {"at_sigma": 0.2}
    assert len([text for text in read(text).questions if "row 3, b" in text]) == 4


def test_two_heads_on_one_address_are_said() -> None:
    found = read("Name,Addr\na,1/5\nb,1.005\n")
    assert len(found.fixtures) == 2
    assert asked(found, "row 3, b", "the same address as row 2, a")
