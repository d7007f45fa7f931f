# ruff: noqa: E501 (rows of a table stay rows)
"""One test per reason to refuse: file, line, what was found and what is allowed."""

from __future__ import annotations

import math

import pytest

RIG, STAGE, NET, SIGHT, POSES = "rig.yaml", "stage.yaml", "network.yaml", "sightings.yaml", "poses.yaml"
PROFILE = "profiles/spot.yaml"
CORNERS = "corners: [[-6, 0], [6, 0], [6, 8], [-6, 8]]"
ZOOM = "[[0, 55.0], [65535, 5.0]]"
FOCUS = "[[3.0, 60000], [8.0, 31000], [20.0, 12000]]"

# (what is wrong, file, text that stands there, text put in its place, words of the message)
REASONS = [
    # every file
    ("another version", RIG, "version: 1", "version: 2", ["version: found 2", "allowed is 1"]),
    ("version as text", STAGE, "version: 1", "version: '1'", ["version: found '1'"]),
    ("no version", NET, "version: 1\n", "", ["no key 'version'"]),
    ("unknown key with a near one", RIG, "    truss: foh", "    trus: foh", ["unknown key 'trus'", "nearest is 'truss'"]),
    ("unknown key at the top", STAGE, "floors:", "flors:", ["unknown key 'flors'", "nearest is 'floors'", "allowed:"]),
    ("unknown key like no other", NET, "panel:", "qqqq:", ["unknown key 'qqqq'; allowed:"]),
    ("doubled key", STAGE, "aim_sigma: 0.03", "aim_sigma: 0.03\naim_sigma: 0.02", ["'aim_sigma' a second time"]),
    ("required key missing", RIG, "    universe: 1\n", "", ["foh-1", "no key 'universe'"]),
    ("a list where a mapping is due", STAGE, "move_in_black: {after: 0.6}", "move_in_black: [0.6]", ["found [0.6]", "'after'"]),
    ("a mapping where a list is due", STAGE, CORNERS, "corners: {a: 1}", ["found a mapping", "a list of corners"]),
    ("a value that is not there", RIG, "    address: 1\n", "    address:\n", ["address: found nothing"]),
    # rig
    ("no fixture", RIG, "fixtures:", "fixtures: []\nother:", ["found []", "a list of fixtures"]),
    ("fixture name with a space", RIG, "name: foh-2", "name: foh 2", ["found 'foh 2'", "letters, digits, - and _"]),
    ("doubled fixture name", RIG, "name: foh-2", "name: foh-1", ["'foh-1' a second time (first in line 4)"]),
    ("unknown built-in profile", RIG, "spot-16bit", "spot-16bt", ["unknown profile", "nearest is 'spot-16bit'"]),
    ("profile file not there", RIG, "profiles/spot.yaml", "profiles/spt.yaml", ["unknown profile", "'profiles/spot.yaml'"]),
    ("profile path out of the folder", RIG, "profiles/spot.yaml", "../spot.yaml", ["stays inside the show folder"]),
    ("profile path too long", RIG, "profiles/spot.yaml", "profiles/" + "x" * 5000, ["unknown profile 'profiles/xxx"]),
    ("profile path with a zero byte", RIG, "profiles/spot.yaml", '"profiles/\\0.yaml"', ["profile: found 'profiles/"]),
    ("profile path from the root", RIG, "profiles/spot.yaml", "/etc/hosts.yaml", ["stays inside the show folder"]),
    ("universe 0", RIG, "universe: 1", "universe: 0", ["universe: found 0", "from 1 to 63999"]),
    ("universe 64000", RIG, "universe: 1", "universe: 64000", ["found 64000"]),
    ("universe not whole", RIG, "universe: 1", "universe: 1.5", ["found 1.5", "whole number"]),
    ("address 0", RIG, "address: 101", "address: 0", ["address: found 0", "from 1 to 512"]),
    ("address as a switch", RIG, "address: 101", "address: true", ["found true", "whole number"]),
    ("footprint past 512", RIG, "address: 101", "address: 494", ["last channel is 513", "allowed is 1 to 493"]),
    ("overlapping addresses", RIG, "address: 101", "address: 16", ["found 16-35", "overlaps foh-1 at 1-16", "next free"]),
    ("sighted by something else", STAGE, "sighted_by: pool", "sighted_by: eye", ["sighted_by: found 'eye'", "pool", "axis", "unknown"]),
    ("a sighting by something else", SIGHT, "sighted_by: axis", "sighted_by: beam", ["sighted_by: found 'beam'"]),
    ("nothing is accepted", STAGE, "accept: 20 cm", "accept: 0", ["accept: found 0"]),
    ("a seat without a height", STAGE, "seat: [0, -18, 7 ft]", "seat: [0, -18]", ["seat: found [0, -18]", "a point [x, y, z]"]),
    ("staying within less than nothing", STAGE, "stay_within: 3 m", "stay_within: -1", ["stay_within: found -1", "from 0"]),
    ("play below nothing", PROFILE, "backlash: 0.1", "backlash: -0.1", ["backlash: found -0.1", "degrees"]),
    ("held while sighted, but it moves pan", PROFILE, "sight_fixed: {11: 40", "sight_fixed: {1: 40", ["byte of pan"]),
    ("held while sighted, off the footprint", PROFILE, "14: 3}", "17: 3}", ["sight_fixed", "footprint 16"]),
    ("hang not finite", RIG, "yaw: 0", "yaw: .nan", ["hang.yaw: found .nan", "a number from -360 to 360 degrees"]),
    ("hang sigma 0", RIG, "sigma: 1.0}", "sigma: 0}", ["hang.sigma: found 0"]),
    ("position with two numbers", RIG, "[-4.0, -12.0, 9.0]", "[-4.0, -12.0]", ["at: found [-4.0, -12.0]", "[x, y, z]"]),
    ("position in millimetres", RIG, "[-4.0, -12.0, 9.0]", "[-4000, -12000, 9000]", ["at.1: found -4000", "mm"]),
    ("length in an unknown unit", RIG, "[-4.0, -12.0, 9.0]", "[4 yd, 1, 9]", ["at.1: found '4 yd'", "10' 6\""]),
    ("infinite length", RIG, "[-4.0, -12.0, 9.0]", "[.inf, 1, 9]", ["at.1: found .inf"]),
    ("position sigma 0", RIG, "[0.3, 0.3, 0.1]", "[0.3, 0, 0.1]", ["at_sigma.2: found 0"]),
    ("position sigma without position", RIG, "    at: [-4.0, -12.0, 9.0]\n", "", ["a sigma but no 'at'"]),
    ("unknown target", RIG, "follows: lead", "follows: leda", ["unknown target 'leda'", "nearest is 'lead'"]),
    ("outside neither dark nor stay", RIG, "outside: dark", "outside: drak", ["dark or stay", "nearest is 'dark'"]),
    ("limits beyond the profile", RIG, "pan: [-200, 200]", "pan: [-200, 271]", ["limits.pan.2: found 271", "-270 to 270"]),
    ("limits reversed", RIG, "tilt: [-110, 110]", "tilt: [110, -110]", ["limits.tilt: found [110, -110]", "smaller first"]),
    ("rest outside the limits", RIG, "rest: [0, 45]", "rest: [0, 120]", ["rest: found 120", "from -110 to 110"]),
    ("rest of one number", RIG, "rest: [0, 45]", "rest: [0]", ["rest: found [0]", "[pan, tilt]"]),
    ("negative lag", RIG, "lag: 0.12", "lag: -0.1", ["lag: found -0.1"]),
    ("lag in milliseconds", RIG, "lag: 0.12", "lag: 120", ["lag: found 120", "from 0 to 5 s"]),
    # profile
    ("footprint 513", PROFILE, "footprint: 16", "footprint: 513", ["footprint: found 513"]),
    ("required channel missing", PROFILE, "dimmer: [5, 6], ", "", ["channels: found no key 'dimmer'"]),
    ("unknown channel", PROFILE, "zoom: [7, 8]", "zom: [7, 8]", ["unknown key 'zom'", "nearest is 'zoom'"]),
    ("two channels on one offset", PROFILE, "tilt: [3, 4]", "tilt: [2, 4]", ["pan and tilt both at offset 2"]),
    ("one channel twice on one offset", PROFILE, "pan: [1, 2]", "pan: [1, 1]", ["pan and pan both at offset 1"]),
    ("five bytes", PROFILE, "pan: [1, 2]", "pan: [1, 2, 13, 14, 15]", ["channels.pan", "list of 5", "of 1 to 4"]),
    ("offset 0", PROFILE, "pan: [1, 2]", "pan: [0, 2]", ["channels.pan.1: found 0"]),
    ("offset beyond the footprint", PROFILE, "focus: [9, 10]", "focus: [9, 17]", ["focus at offset 17", "footprint 16"]),
    ("fixed beyond the footprint", PROFILE, "12: 0", "17: 0", ["found offset 17", "footprint 16"]),
    ("fixed on a channel", PROFILE, "12: 0", "10: 0", ["found offset 10", "a byte of focus"]),
    ("fixed value past a byte", PROFILE, "12: 0", "12: 256", ["fixed.12: found 256", "from 0 to 255"]),
    ("fixed offset that is no number", PROFILE, "12: 0", "twelve: 0", ["found offset 'twelve'"]),
    ("fixed offset twice in two ways", PROFILE, "12: 0", "0xb: 0", ["found offset '0xb'", "once"]),
    ("action on a channel", PROFILE, "{13: 250", "{4: 250", ["actions.reset.slots: found offset 4", "a byte of tilt"]),
    ("action beyond the footprint", PROFILE, "{13: 250", "{17: 250", ["actions.reset.slots: found offset 17", "footprint 16"]),
    ("action offset 0", PROFILE, "{13: 250", "{0: 250", ["actions.reset.slots.0: found offset '0'", "1 to 512"]),
    ("action value past a byte", PROFILE, "{13: 250", "{13: 256", ["actions.reset.slots.13: found 256", "from 0 to 255"]),
    ("action without slots", PROFILE, "slots: {13: 250, 12: 7}, ", "", ["actions.reset: found no key 'slots'"]),
    ("action with no slot", PROFILE, "{13: 250, 12: 7}", "{}", ["actions.reset.slots: found a mapping", "at least one offset"]),
    ("action that does not say how long it is dark", PROFILE, ", dark: 40", "", ["actions.reset: found no key 'dark'"]),
    ("action held for a negative time", PROFILE, "hold: 5", "hold: -1", ["actions.reset.hold: found -1", "from 0 to 60 s"]),
    ("action dark in milliseconds", PROFILE, "dark: 40", "dark: 40000", ["actions.reset.dark: found 40000", "from 0 to 600 s"]),
    ("action that is a number", PROFILE, "{slots: {13: 250, 12: 7}, hold: 5, dark: 40}", "250", ["actions.reset: found 250", "{slots: {19: 250}"]),
    ("action name with a space", PROFILE, "{reset:", "{reset all:", ["the name 'reset all'"]),
    ("pan from == to", PROFILE, "{from: -270, to: 270", "{from: 270, to: 270", ["pan.to: found 270, the same as 'from'"]),
    ("tilt from == to", PROFILE, "{from: -135, to: 135", "{from: 0, to: 0", ["tilt.to: found 0, the same as 'from'"]),
    ("speed 0", PROFILE, "speed: 180", "speed: 0", ["pan.speed: found 0", "above 0"]),
    ("acceleration below 0", PROFILE, "acceleration: 500", "acceleration: -5", ["tilt.acceleration: found -5"]),
    ("zoom raw not rising", PROFILE, ZOOM, "[[65535, 5.0], [0, 55.0]]", ["zoom.table", "raw values rise"]),
    ("zoom raw past the channel", PROFILE, ZOOM, "[[0, 55.0], [65536, 5.0]]", ["found raw 65536", "0 to 65535"]),
    ("zoom angle 0", PROFILE, ZOOM, "[[0, 55.0], [65535, 0]]", ["zoom.table.2: found 0"]),
    ("zoom angle 180", PROFILE, ZOOM, "[[0, 180], [65535, 5]]", ["zoom.table.1: found 180", "below 180"]),
    ("zoom angle to and fro", PROFILE, ZOOM, "[[0, 9], [1, 5], [2, 9]]", ["angles rise, or fall"]),
    ("candela in some rows", PROFILE, ZOOM, "[[0, 9, 100], [1, 5]]", ["candela in every row or in none"]),
    ("zoom row of one", PROFILE, ZOOM, "[[0], [1, 5]]", ["zoom.table.1: found [0]"]),
    ("zoom edge", PROFILE, "edge: beam", "edge: been", ["beam or field", "nearest is 'beam'"]),
    ("zoom table without channel", PROFILE, "zoom: [7, 8], ", "", ["zoom: found a table but no channel"]),
    ("focus table without channel", PROFILE, ", focus: [9, 10]", "", ["focus: found a table but no channel"]),
    ("focus distances not rising", PROFILE, FOCUS, "[[8, 1], [3, 2]]", ["focus.table", "distances rise"]),
    ("focus distance 0", PROFILE, FOCUS, "[[0, 1], [3, 2]]", ["focus.table.1: found 0"]),
    ("focus raw past the channel", PROFILE, FOCUS, "[[1, 1], [3, 70000]]", ["focus: found raw 70000"]),
    ("dimmer curve", PROFILE, "curve: linear", "curve: cubic", ["dimmer.curve: found 'cubic'", "linear or square"]),
    ("negative minimum distance", PROFILE, "min_distance: 3.0", "min_distance: -3", ["min_distance: found -3"]),
    # stage
    ("no polygon", STAGE, "performance_polygon:", "polygon:", ["unknown key 'polygon'", "'performance_polygon'"]),
    ("two corners", STAGE, CORNERS, "corners: [[0, 0], [1, 0]]", ["list of 2", "at least 3"]),
    ("corner of three numbers", STAGE, CORNERS, "corners: [[0, 0, 0], [1, 0, 0], [0, 1, 0]]", ["corners.1", "[x, y]"]),
    ("polygon that crosses itself", STAGE, CORNERS, "corners: [[-6, 0], [6, 0], [-6, 8], [6, 8]]",
     ["crosses or touches itself", "corner 2", "corner 4"]),
    ("polygon in a line", STAGE, CORNERS, "corners: [[0, 0], [3, 0], [6, 0]]", ["lie in one line"]),
    ("polygon with a corner twice", STAGE, CORNERS, "corners: [[0, 0], [3, 0], [3, 0], [0, 3], [3, 0]]", ["corner 2 twice"]),
    ("height reversed", STAGE, "height: [-0.5, 4.0]", "height: [4.0, -0.5]", ["height: found [4.0, -0.5]", "smaller first"]),
    ("negative margin", STAGE, "margin: 0.15", "margin: -0.15", ["margin: found -0.15"]),
    ("negative fade", STAGE, "fade_out: 0.2", "fade_out: -1", ["fade_out: found -1"]),
    ("area without a name", STAGE, "{name: thrust, ", "{", ["more_areas.1: found no key 'name'"]),
    ("switch neither on nor off", STAGE, "on: false", "on: 2", ["more_areas.thrust.on: found 2", "on or off"]),
    ("two areas of one name", STAGE, "[{name: thrust,", "[{name: thrust, corners: [[0,0],[1,0],[0,1]]}, {name: thrust,",
     ["more_areas.thrust: found the name 'thrust' a second time"]),
    ("floor without height", STAGE, ", height: 0.6", "", ["floors.riser: found no key 'height'"]),
    ("mark of two numbers", STAGE, "B: [5, 1, 0]", "B: [5, 1]", ["marks.B: found [5, 1]", "{at: unknown, height: 0}"]),
    ("mark that is text", STAGE, "B: [5, 1, 0]", "B: unknown", ["marks.B: found 'unknown'", "[x, y, z]"]),
    ("mark place mistyped", STAGE, "at: unknown", "at: unknwon", ["marks.D.at: found 'unknwon'", "or unknown"]),
    ("mark name with a space", STAGE, "  B: [", "  B b: [", ["the name 'B b'"]),
    ("mark sigma 0", STAGE, "sigma: 0.02", "sigma: 0", ["marks.C.sigma: found 0"]),
    ("height of a known mark", STAGE, "sigma: 0.02", "height: 0", ["marks.C.height", "at: unknown"]),
    ("datum on a surveyed mark", STAGE, "tapes:", "datum: {origin: A, along_x: D}\ntapes:", ["datum: found 'A'", "unknown"]),
    ("datum on one mark", STAGE, "tapes:", "datum: {origin: D, along_x: D}\ntapes:", ["along_x: found 'D', the same"]),
    ("datum on no mark", STAGE, "tapes:", "datum: {origin: Q, along_x: D}\ntapes:", ["datum.origin", "unknown mark 'Q'"]),
    ("tape to nowhere", STAGE, "[A, foh-1]", "[A, foh-9]", ["tapes.2.between", "unknown mark or fixture 'foh-9'"]),
    ("tape to itself", STAGE, "[A, B]", "[A, A]", ["tapes.1.between: found 'A' at both ends"]),
    ("tape with one end", STAGE, "[A, B]", "[A]", ["tapes.1.between: found ['A']"]),
    ("tape of length 0", STAGE, "metres: 10.02", "metres: 0", ["tapes.1.metres: found 0"]),
    ("tape sigma below 0", STAGE, "metres: 10.02, sigma: 0.01", "metres: 10, sigma: -1", ["tapes.1.sigma: found -1"]),
    ("no target", STAGE, "targets: {lead:", "targets: {}\nold: {lead:", ["targets", "at least one target"]),
    ("target size 0", STAGE, "size: 2.0", "size: 0", ["targets.lead.size: found 0"]),
    ("target size past a hall", STAGE, "size: 2.0", "size: 51", ["targets.lead.size: found 51", "from 0.05 to 50 m"]),
    ("target height above any roof", STAGE, "height: 1.3", "height: 11", ["targets.lead.height: found 11", "from -10 to 10 m"]),
    ("named size too small", STAGE, "tight: 0.8", "tight: 0.04", ["targets.lead.sizes.tight: found 0.04", "from 0.05 to 50 m"]),
    ("named size as a list", STAGE, "{tight: 0.8, half: 1.2}", "[0.8]", ["targets.lead.sizes: found [0.8]", "{tight: 0.8}"]),
    ("named size that is called a number", STAGE, "tight: 0.8", "2: 0.8", ["sizes.2: found the name '2'", "a word"]),
    ("named size with a space", STAGE, "tight: 0.8", "very tight: 0.8", ["sizes: found the name 'very tight'"]),
    ("named size twice", STAGE, "half: 1.2", "tight: 1.2", ["'tight' a second time"]),
    ("named height too low", STAGE, "seated: 0.9", "seated: -10.5", ["targets.lead.heights.seated: found -10.5", "from -10 to 10 m"]),
    ("target source", STAGE, "source: osc", "source: osk", ["targets.lead.source: found 'osk'", "osc"]),
    ("target name with a slash", STAGE, "{lead: {", "{lead/1: {", ["the name 'lead/1'"]),
    ("move in black after 0", STAGE, "after: 0.6", "after: 0", ["move_in_black.after: found 0"]),
    ("evenness", STAGE, "evenness: off", "evenness: of", ["light.evenness: found 'of'", "on or off"]),
    ("least light above all", STAGE, "least: 0.2", "least: 20", ["light.least: found 20", "from 0 to 1"]),
    ("ceiling of no light", STAGE, "at_most: 800", "at_most: 0", ["light.at_most: found 0", "above 0 lux"]),
    ("group of evenness as a list", RIG, "evenness: key", "evenness: [key]", ["evenness: found ['key']", "text"]),
    ("level map x not rising", STAGE, "x: [-6, 0, 6]", "x: [-6, 0, 0]", ["level_map.x", "rises"]),
    ("level map y not rising", STAGE, "y: [0, 8]", "y: [8, 0]", ["level_map.y", "rises"]),
    ("level map with a row too few", STAGE, "[[1, 0.8, 1], [1, 1, 1]]", "[[1, 0.8, 1]]", ["found 1 rows", "2 rows of 3"]),
    ("level map with a short row", STAGE, "[1, 1, 1]]", "[1, 1]]", ["lengths [3, 2]", "2 rows of 3"]),
    ("level map factor below 0", STAGE, "[1, 0.8, 1]", "[1, -0.8, 1]", ["level_map.factor.1.2: found -0.8"]),
    ("aim sigma 0", STAGE, "aim_sigma: 0.03", "aim_sigma: 0", ["aim_sigma: found 0"]),
    # network
    ("listen without a port", NET, "127.0.0.1:9000", "127.0.0.1", ["osc.listen: found '127.0.0.1'", "127.0.0.1:9000"]),
    ("port 65536", NET, ":9000", ":65536", ["osc.listen", "to 65535"]),
    ("panel on a broken address", NET, "127.0.0.1:8787", "127.0.0.256:8787", ["panel.listen: found '127.0.0.256:8787'"]),
    ("network with host bits", NET, "127.0.0.0/8", "10.0.0.5/8", ["osc.allow.1", "nearest is 10.0.0.0/8"]),
    ("network that is none", NET, "127.0.0.0/8", "studio", ["osc.allow.1: found 'studio'"]),
    ("nobody allowed", NET, '["127.0.0.0/8"]', "[]", ["osc.allow: found []", "at least 1"]),
    ("interface by a name too long", NET, "interface: 127.0.0.1", "interface: enp0s31f6extra00", ["sacn.interface: found 'enp0s31f6extra00'", "eth0"]),
    ("interface with a slip in its address", NET, "interface: 127.0.0.1", "interface: 127.0.0.256", ["found '127.0.0.256'", "IPv4 address"]),
    ("interface with a space", NET, "interface: 127.0.0.1", "interface: eth 0", ["sacn.interface: found 'eth 0'"]),
    ("listen on an interface with a slash", NET, "127.0.0.1:9000", "eth/0:9000", ["osc.listen: found 'eth/0:9000'", "eth0:9000"]),
    ("panel neither off nor a mapping", NET, '{listen: "127.0.0.1:8787"}', "on", ["panel: found 'on'", "off, or a mapping"]),
    ("record neither off nor a mapping", NET, "{folder: captures, days: 14, megabytes: 2000}", "on", ["record: found 'on'", "off, or a mapping"]),
    ("captures out of the folder", NET, "folder: captures", "folder: ../captures", ["record.folder: found '../captures'", "stays inside the show folder"]),
    ("captures from the root", NET, "folder: captures", "folder: /var/captures", ["record.folder", "stays inside the show folder"]),
    ("captures in the show folder itself", NET, "folder: captures", "folder: .", ["record.folder: found '.'", "a folder of its own"]),
    ("captures over a file", NET, "folder: captures", "folder: rig.yaml", ["record.folder: found 'rig.yaml'", "a folder of its own"]),
    ("captures folder with a name too long", NET, "folder: captures", "folder: " + "x" * 300, ["record.folder: found 'xxx"]),
    ("captures folder with a zero byte", NET, "folder: captures", 'folder: "a\\0b"', ["record.folder: found"]),
    ("days 0", NET, "days: 14", "days: 0", ["record.days: found 0", "above 0"]),
    ("less than a megabyte", NET, "megabytes: 2000", "megabytes: 0.5", ["record.megabytes: found 0.5", "from 1 to"]),
    ("destination neither multicast nor list", NET, "to: multicast", "to: broadcast", ["sacn.to: found 'broadcast'"]),
    ("destination port 0", NET, "to: multicast", 'to: ["10.0.0.1:0"]', ["sacn.to.1: found '10.0.0.1:0'"]),
    ("destination twice", NET, "to: multicast", 'to: ["10.0.0.1", "10.0.0.1:5568"]', ["there twice"]),
    ("priority 201", NET, "priority: 110", "priority: 201", ["sacn.priority: found 201", "from 0 to 200"]),
    ("priority below 0", NET, "priority: 110", "priority: -1", ["sacn.priority: found -1"]),
    ("source name of 64 bytes", NET, "source_name: Tetherlight", "source_name: " + "é" * 32, ["63 bytes", "this is 64"]),
    ("rate 0", NET, "rate: 44", "rate: 0", ["sacn.rate: found 0"]),
    ("synchronise on", NET, "synchronise: off", "synchronise: on", ["off or a universe"]),
    ("synchronise on universe 0", NET, "synchronise: off", "synchronise: 0", ["sacn.synchronise: found 0"]),
    ("contested", NET, "contested: refuse", "contested: maybe", ["refuse or send"]),
    ("lost input after 0", NET, "after: 2.0", "after: 0", ["lost_input.after: found 0"]),
    ("lost input, then something else", NET, "then: hold", "then: fade", ["hold or dark"]),
    ("lost input, negative fade", NET, "fade: 3.0", "fade: -3", ["lost_input.fade: found -3"]),
    # sightings
    ("sighting of an unknown fixture", SIGHT, "fixture: foh-2", "fixture: foh-3", ["unknown fixture 'foh-3'"]),
    ("sighting on an unknown mark", SIGHT, "mark: D", "mark: Q", ["unknown mark 'Q'", "allowed: A, B, C, D"]),
    ("sighting made twice", SIGHT, "pan: 167.6, tilt: -61.1", "pan: 1, tilt: 61.1", ["second sighting of foh-1 on A, face 1", "line 3"]),
    ("sighting outside the pan range", SIGHT, "pan: -12.345", "pan: 271", ["pan: found 271", "-270 to 270"]),
    ("sighting outside the tilt range", SIGHT, "tilt: 61.002", "tilt: 140", ["tilt: found 140", "-135 to 135"]),
    ("sighting not a number", SIGHT, "pan: -12.345", "pan: .nan", ["pan: found .nan"]),
    ("sighting zoom past the channel", SIGHT, "zoom: 20000", "zoom: 65536", ["zoom: found raw 65536"]),
    ("sighting focus below 0", SIGHT, "focus: 31000", "focus: -1", ["focus: found -1"]),
    ("sighting without tilt", SIGHT, ", tilt: 50", "", ["sightings.3: found no key 'tilt'"]),
    # poses
    ("pose without rotation", POSES, ", rotation: [0, 0, 0, 1]}", "}", ["foh-2", "no key 'rotation'"]),
    ("position of two", POSES, "[-4.02, -11.98, 9.01]", "[-4.02, -11.98]", ["foh-1.position", "[x, y, z]"]),
    ("zero quaternion", POSES, "[0, 0, 0, 1]", "[0, 0, 0, 0]", ["foh-1.rotation", "length 1 (this has length 0)"]),
    ("quaternion far from unit", POSES, "[0, 0, 0, 1]", "[0, 0, 1, 1]", ["this has length 1.414"]),
    ("quaternion with infinity", POSES, "[0, 0, 0, 1]", "[0, 0, .inf, 1]", ["rotation.3: found .inf"]),
    ("face 3", POSES, "faces: [1]", "faces: [3]", ["faces.1: found 3", "from 1 to 2"]),
    ("face 1 twice", POSES, "faces: [1]", "faces: [1, 1]", ["faces: found [1, 1]"]),
    ("unknown mechanical term", POSES, "tilt_zero", "tiltzero", ["unknown key 'tiltzero'", "nearest is 'tilt_zero'"]),
    ("negative sigma", POSES, "position: [0.02,", "position: [-0.02,", ["sigma.position.1: found -0.02"]),
    ("negative residual", POSES, "A/2: 0.03", "A/2: -0.03", ["residuals.A/2: found -0.03"]),
    ("optics past the channel", POSES, "[65535, 5.2]", "[65536, 5.2]", ["optics.zoom: found raw 65536"]),
    ("unknown key of a pose", POSES, "    faces: [1]", "    face: [1]", ["unknown key 'face'", "nearest is 'faces'"]),
]  # fmt: skip


# Lines from the change to the place of the problem, where that is another: the second of two keys, the head of the
# mapping that misses a key, the table that misses its channel.
ELSEWHERE = {
    "doubled key": 1,
    "required key missing": -2,
    "zoom table without channel": 4,
    "focus table without channel": 5,
}


@pytest.mark.parametrize(("reason", "file", "old", "new", "words"), REASONS, ids=[r[0] for r in REASONS])
def test_refused_with_file_line_found_and_allowed(
    folder, reason: str, file: str, old: str, new: str, words: list[str]
) -> None:
    line = folder.edit(file, old, new)
    problems = folder.problems()
    matching = [text for text in problems if all(word in text for word in words)]
    assert matching, problems
    assert matching[0].startswith(f"{file}:{line + ELSEWHERE.get(reason, 0)}: ")
    assert "found" in matching[0]


def test_reasons_differ() -> None:
    names = [reason[0] for reason in REASONS]
    assert len(set(names)) == len(names)


def test_a_polygon_of_very_many_corners_is_judged_at_once(folder) -> None:
    """The last sides cross: comparing each two of them one by one took minutes."""
    count = 4000
    points = [(30 * math.cos(math.tau * k / count), 30 * math.sin(math.tau * k / count)) for k in range(count)]
    points[-3], points[-2] = points[-2], points[-3]
    written = ", ".join(f"[{x:.4f}, {y:.4f}]" for x, y in points)
    folder.edit(STAGE, CORNERS, f"corners: [{written}]")
    assert any("the side after corner 3997 meets the side after corner 3999" in text for text in folder.problems())


def test_control_characters_of_a_file_never_reach_the_terminal(folder) -> None:
    folder.edit(RIG, "name: foh-2", 'name: "\\e[31mred\\a"')
    problems = folder.problems()
    assert all(text.isprintable() for text in problems)
