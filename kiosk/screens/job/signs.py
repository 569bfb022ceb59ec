"""The icon and colour by which a sheet's piece and a plan's step are shown, beside their words."""

from kiosk.rules.fitting.change_plan import Doing
from kiosk.rules.fitting.setup_sheet import Supply

SIGNS = {
    Supply.IN_MACHINE: ("machine", "done"),
    Supply.IN_CABINET: ("cabinet", "plain"),
    Supply.ELSEWHERE: ("holder", "plain"),
    Supply.HOT: ("hot", "heat"),
    Supply.IN_OTHER_MACHINE: ("machine", "stop"),
    Supply.BUILD: ("shop", "plain"),
    Supply.NO_HOLDER: ("missing", "stop"),
    Supply.MISSING: ("stop", "stop"),
}
DOINGS = {Doing.LEAVE: "stays", Doing.TAKE_OUT: "take-out", Doing.MOVE: "move-over", Doing.PUT_IN: "put-in"}
