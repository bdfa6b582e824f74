"""What the chute page says and offers, in the reader's language: sentences, lesions, zones, scales, the drawn foot."""

from __future__ import annotations

from typing import Any

from evenfoot.analytics.domain.feet import CLAW_NAMES, CLAWS, ZONES
from evenfoot.analytics.domain.horn import SHED_STAGES
from evenfoot.analytics.domain.lesions import DD_STAGES, LESIONS, PARENTS, SEVERITIES
from evenfoot.analytics.domain.locomotion import SCALES
from evenfoot.analytics.domain.visits import ACTIONS, VISIT_KINDS
from evenfoot.dashboard.charts.claw import DRAWN_ZONES, SHARED_ZONES, zone_polygons
from evenfoot.dashboard.charts.foot import FROM_BELOW
from evenfoot.dashboard.i18n.translation import _, told, words
from evenfoot.dashboard.ui.shell import VETERINARIAN

FEET = ("RF", "LF", "RH", "LH")
"""In the order of the drawing from below: her left feet at the right."""

DONE_AT_FOOT = ("trim", "block", "wrap", "refer")
RECHECK_WEEKS = (1, 2, 4, 6)
"""After how many weeks a foot is looked at again. [common practice, no source]"""


def trade() -> dict[str, Any]:
    """The trade's vocabulary and the drawn foot, as plain data."""
    scales = {
        name: [{"score": score, "says": told(said)} for score, said in scale.words.items()]
        for name, scale in SCALES.items()
    }
    return {
        "feet": [{"foot": foot, "name": words().foot(foot)} for foot in FEET],
        "claws": {claw: told(CLAW_NAMES[claw]) for claw in CLAWS},
        "zones": {zone: told(ZONES[zone].name) for zone in DRAWN_ZONES},
        "shared": list(SHARED_ZONES),
        "drawing": _drawing(),
        "lesions": [
            {
                "code": code,
                "name": words().lesion(code),
                "zones": list(LESIONS[code].usual_zones),
                "details": [{"code": each, "name": words().lesion(each)} for each in LESIONS[code].details],
            }
            for code in PARENTS
        ],
        "severities": {number: told(said) for number, said in SEVERITIES.items()},
        "stages": {stage: told(said) for stage, said in DD_STAGES.items()},
        "sheds": {**{number: told(stage.name) for number, stage in SHED_STAGES.items()}, 0: _("nothing shed")},
        "actions": {action: told(ACTIONS[action]) for action in DONE_AT_FOOT},
        "weeks": list(RECHECK_WEEKS),
        "kinds": {kind: told(said) for kind, said in VISIT_KINDS.items()},
        "scales": scales,
        "units": words().units,
    }


def _drawing() -> dict[str, list[list[float]]]:
    """Zones of the left hind foot's outer claw and those between the claws, as :func:`zone_polygons` has them."""
    return {
        str(zone): [[round(float(x), 3), round(float(y), 3)] for x, y in points]
        for (foot, claw, zone), points in zone_polygons().items()
        if foot == "LH" and claw in (None, "lateral")
    }


def sentences() -> dict[str, str]:
    """Name -> sentence of the page; what stands in braces is filled in by the page."""
    return {
        "title": _("At the chute"),
        "caution": told(VETERINARIAN),
        "from_below": told(FROM_BELOW),
        "trim_visit": _("Trim visit"),
        "walk": _("Locomotion walk"),
        "farm": _("Farm"),
        "other_farm": _("Another farm"),
        "farm_name": _("Name of the farm"),
        "date": _("Date"),
        "trimmer": _("Trimmer"),
        "scorer": _("Who scores"),
        "kind": _("Kind of visit"),
        "herd_size": _("Cows in the milking herd, if you know it"),
        "scale": _("Scale"),
        "begin": _("Begin"),
        "visit": _("Visit"),
        "day": _("The day"),
        "undo": _("Undo"),
        "number": _("Cow number"),
        "back_digit": _("Take the last digit away"),
        "letters": _("Letters"),
        "clean": _("Clean, next"),
        "save": _("Save"),
        "more_found": _("One more finding"),
        "other_lesions": _("All others"),
        "severity": _("How bad"),
        "stage": _("Stage"),
        "which": _("Which one"),
        "done": _("What was done"),
        "block_on": _("Block on the {claw} claw", claw="{claw}"),
        "block_wrap": _("Block on the {claw} claw, and wrap", claw="{claw}"),
        "recheck": _("Look again"),
        "weeks": _("in {n} weeks", n="{n}"),
        "one_week": _("in 1 week"),
        "more": _("Locomotion score, feet looked at"),
        "more_horn": _("Toe length, shed horn"),
        "score": _("Locomotion score"),
        "shed": _("Horn shed"),
        "toe": _("Toe length, {claw} claw ({unit})", claw="{claw}", unit="{unit}"),
        "feet_seen": _("Feet looked at"),
        "remove": _("Remove"),
        "to_number": _("Back to the number"),
        "here": _("Here already today: what you save takes its place until it is sent."),
        "sent_before": _("She was sent already today. What you save now is a further record; the office corrects."),
        "unknown": _("Not in the herd's list. Check the number, or go on."),
        "clean_cow": _("nothing found"),
        "skipped": _("not looked at"),
        "skip": _("Not looked at"),
        "by_number": _("By number"),
        "in_order": _("In order"),
        "to_score": _("{done} scored, {skipped} not looked at. To score in this herd: {n}.", done="{done}",
                      skipped="{skipped}", n="{n}"),
        "all_met": _("All cows of the list have been met."),
        "unsent": _("{n} not sent", n="{n}"),
        "all_sent": _("All sent"),
        "nothing": _("Nothing is written yet."),
        "send": _("Send {n}", n="{n}"),
        "send_again": _("Send the whole day again"),
        "sending": _("Sending ..."),
        "added": _("Arrived: {added} new, {known} there already, {held} set aside.", added="{added}", known="{known}",
                   held="{held}"),
        "held_why": _("Row {row}: {reason}", row="{row}", reason="{reason}"),
        "asked": _("Nothing was added yet. Answer, and send again; or save the file and decide on the Import page."),
        "here_already": _("Here already"),
        "in_sheet": _("From this phone"),
        "answer_send": _("Send with these answers"),
        "no_answer": _("No answer from the office. All stays on this phone; send again when there is a network."),
        "sign_in": _("Sign in again; everything stays on this phone."),
        "file": _("Save the day as a file"),
        "shared": _("The file is made. Keep it until the records have arrived."),
        "in_office": _("Sent: corrections are made in the office, on the page Corrections."),
        "correct": _("Correct"),
        "trouble": _("This phone did not keep {n} records: its storage is full or closed. Save the day as a file now.",
                     n="{n}"),
        "no_storage": _("This browser keeps nothing. Save the day as a file before you leave the page."),
        "sign_out": _("Sign out and wipe this phone"),
        "sign_out_unsent": _("{n} records were not sent. Send them or save the file first.", n="{n}"),
        "wipe_anyway": _("Wipe them all the same"),
        "wiped": _("This phone holds nothing of the herds any more."),
        "saved": _("Saved: {cow}", cow="{cow}"),
        "loaded": _("The herd of {farm} is on this phone: {n} cows.", farm="{farm}", n="{n}"),
        "not_loaded": _("The herd could not be loaded; numbers can be typed all the same."),
        "farms_here": _("Farms on this phone: {n}", n="{n}"),
        "farms_how": _("Tick the farms you drive to and load them where there is a network. A farm without a tick "
                       "leaves the phone when the others have come."),
        "load_farms": _("Load {n} farms", n="{n}"),
        "loading_farms": _("Loading {place} of {n} ...", place="{place}", n="{n}"),
        "farm_loaded": _("Loaded {when}: {n} cows, {due} to be seen.", when="{when}", n="{n}", due="{due}"),
        "farm_not_here": _("Not on this phone."),
        "today_at": _("today {time}", time="{time}"),
        "farms_old": _("Loaded more than a week ago: {farms}. Load them again where there is a network.",
                       farms="{farms}"),
        "herd_old": _("Herd loaded {when}, more than a week ago", when="{when}"),
        "farms_came": _("All that is ticked is on this phone: {n}.", n="{n}"),
        "farms_missed": _("Did not come: {farms}. What was loaded before stays; try again where there is a network.",
                          farms="{farms}"),
        "farms_full": _("This phone could not keep {farms}: its storage is full or closed. Send or save the visits on "
                        "it and take them off, or take farms off.", farms="{farms}"),
        "farm_shut": _("Loaded {when}, locked.", when="{when}"),
        "lock_how": _("Lock what this phone keeps of herds and cows with a word: it is encrypted then, and the word is "
                      "asked when the page is opened anew. What you write down stays readable, so that none of it is "
                      "lost. A forgotten word cannot be found again; the farms are loaded anew then."),
        "lock_word": _("Word for the herds"),
        "lock": _("Lock"),
        "word_short": _("Use {n} letters or more.", n="{n}"),
        "locked_now": _("The herds on this phone are locked with a word."),
        "lock_off": _("Take the lock off"),
        "herds_shut": _("The herds on this phone are locked. Cows can be written down all the same."),
        "unlock": _("Unlock"),
        "wrong_word": _("That is not the word."),
        "forgotten": _("Forgotten: take the herds off"),
        "locked_first": _("Unlock the herds first."),
        "to_see": _("To be seen: {n}", n="{n}"),
        "need": _("Say farm, date and kind of visit first."),
        "need_cow": _("Type her number first."),
        "office": _("To the dashboard"),
        "on_phone": _("How to get this onto a phone"),
        "way_one": _("Over the office's own name with TLS (https): open it in the phone's browser once, sign in, load "
                     "the herds, and put it on the home screen."),
        "way_two": _("On the machine itself that runs Evenfoot, such as a tablet computer: open its own address there "
                     "(127.0.0.1)."),
        "no_http": _("Over plain http in a network it cannot work without signal: browsers keep a page for later over "
                     "TLS alone."),
        "needs_tls": _("This page cannot be kept for later here, because it did not come over TLS. It works while the "
                       "network does."),
        "demo": _("These herds are invented. Send for trying only."),
        "visits": _("Visits on this phone"),
        "open": _("Open this visit"),
        "forget": _("Take this visit off the phone"),
    }  # fmt: skip
