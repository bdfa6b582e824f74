"""Three years on one farm: visits, monthly calls, rechecks, scorings, cows leaving and entering."""

from __future__ import annotations

import calendar
from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import date, timedelta

import numpy as np

from evenfoot.sample_data import farms, gait, herds, horn, lesions, truths
from evenfoot.sample_data.herds import Cow, Found, Sore

Row = dict[str, object]
_ALL_FEET = frozenset({"LF", "RF", "LH", "RH"})
_NOT_SORE = [code for code in truths.LESIONS if code not in truths.SORE]


@dataclass
class Records:
    """What one farm's three years leave on paper."""

    trims: list[Row] = field(default_factory=list)
    scores: list[Row] = field(default_factory=list)
    cows: list[Cow] = field(default_factory=list)


@dataclass
class _Due:
    """A block to take off."""

    cow: Cow
    on: date
    found: Found
    forgotten: bool


def _months() -> list[date]:
    return [date(year, month, 1) for year in range(2023, 2027) for month in range(1, 13)][10:-2]


class Farmyard:
    """One farm with its herd, worked through day by day."""

    def __init__(self, farm: farms.Farm, rng: np.random.Generator) -> None:
        self.farm, self.rng = farm, rng
        self.cows = herds.founding_herd(rng, farm)
        self.next_tag = farm.first_tag + farm.cows
        self.due: list[_Due] = []
        self.records = Records(cows=self.cows)

    def here(self, on: date) -> list[Cow]:
        return [cow for cow in self.cows if cow.here(on)]

    def work(self) -> Records:
        """Three years, month by month, each month's days in order."""
        for month in _months():
            days = self._days(month)
            self._come_and_go(month)
            self._go_lame(month)
            for on, job in sorted(days, key=lambda pair: pair[0]):
                job(on)
        self.records.trims.sort(key=lambda row: row["visit_date"])  # type: ignore[arg-type,return-value]
        return self.records

    def _days(self, month: date) -> list[tuple[date, Callable[[date], None]]]:
        last = month.replace(day=calendar.monthrange(month.year, month.month)[1])
        shift = farms.FARMS.index(self.farm)
        days: list[tuple[date, Callable[[date], None]]] = [(month + timedelta(days=3 + shift), self._score_herd)]
        days += [(day, self._whole_herd) for day in self.farm.whole_herd if month <= day <= last]
        days += [(day, self._part_herd) for day in self.farm.part_herd if month <= day <= last]
        days += [(month + timedelta(days=23 + shift), self._lame_call)]
        days += [(month + timedelta(days=24 + shift), self._recheck)]
        return days

    def _come_and_go(self, month: date) -> None:
        for cow in self.here(month):
            if month > farms.START and herds.leaves(self.rng, cow, month):
                cow.left = month + timedelta(days=int(self.rng.integers(0, 27)))
        # Heifers calve in as places come free.
        after = month + timedelta(days=27)
        while sum(cow.left is None for cow in self.cows) < self.farm.cows:
            first = month + timedelta(days=int(self.rng.integers(0, 27)))
            self.cows.append(herds.new_cow(self.rng, self.farm, self.next_tag, min(first, after)))
            self.next_tag += 1

    def _go_lame(self, month: date) -> None:
        """Lesions that come up between visits."""
        for cow in self.here(month):
            cow.sores = [sore for sore in cow.sores if sore.until > month]
            self._foresee(cow, month)
            if cow.acute:
                continue
            stay = farms.stay_of(self.farm.name, cow.group(month, self.farm.groups), month)
            for code, share in truths.ACUTE.items():
                odds = lesions.log_odds(self.farm, cow, month, truths.LESIONS[code], stay)
                if self.rng.random() < share / (1 + 2.718281828 ** (-odds)):
                    cow.acute = (code, month + timedelta(days=int(self.rng.integers(0, 22))))
                    break

    def _foresee(self, cow: Cow, month: date) -> None:
        """Let the lesions that hurt begin before the visit that finds them: she walks on them meanwhile."""
        visits = [farms.START - timedelta(days=150), *self.farm.whole_herd, farms.END + timedelta(days=60)]
        place = next(number for number, day in enumerate(visits) if day >= month)
        before, following = visits[place - 1], visits[place]
        if cow.coming and cow.coming[0] == following:
            return
        gap = (following - before).days
        coming = []
        for found in lesions.draw(self.rng, self.farm, cow, min(following, farms.END), truths.SORE):
            began = before + timedelta(days=int(self.rng.integers(0, gap)))
            coming.append((began, found))
            cow.sores.append(Sore(found.lesion, found.severity or 1, began, began + timedelta(days=gap)))
        cow.coming = (following, coming)

    def _seen(self, cow: Cow, on: date, trimmer: str, feet: frozenset[str]) -> list[Found]:
        """Everything found on the feet looked at."""
        coming = [found for began, found in cow.coming[1] if began <= on] if cow.coming else []
        found = coming + lesions.draw(self.rng, self.farm, cow, on, _NOT_SORE, trimmer)
        if cow.acute and cow.acute[1] <= on:
            if not any(one.lesion == cow.acute[0] for one in found):
                found.append(self._acute_finding(cow, on))
            cow.acute = None
        found = [one for one in found if one.foot in feet]
        healed = cow.had.get("DD")
        if healed and not any(one.lesion == "DD" for one in found) and (on - healed[0]).days < 240:
            foot = healed[1][0][0]
            if foot in feet and self.rng.random() < truths.DD_HEALED:
                found.append(Found("DD", None, foot, None, 10, None, "M0"))
        lesions.remember(cow, [one for one in found if one.dd_stage != "M0"], on)
        return found

    def _acute_finding(self, cow: Cow, on: date) -> Found:
        assert cow.acute is not None
        lesion = truths.LESIONS[cow.acute[0]]
        found = lesions.detail(self.rng, lesion, lesions.site_of(self.rng, cow, lesion, on))
        cow.sores.append(Sore(found.lesion, found.severity or 1, on, on + timedelta(days=truths.SORE_FOR)))
        return found

    def _about(self, cow: Cow, on: date, trimmer: str, kind: str | None, size: int | None) -> Row:
        group = cow.group(on, self.farm.groups)
        stay = farms.stay_of(self.farm.name, group, on)
        return {
            "visit_date": on,
            "farm": self.farm.name,
            "trimmer": trimmer,
            "visit_kind": None if on in self.farm.kind_left_blank else kind,
            "herd_size": None if on in self.farm.size_left_blank else size,
            "cow": cow.tag,
            "group": group,
            "housing": stay.housing,
            "floor": stay.floor,
            "bedding": stay.bedding or None,
            "parity": cow.parity(on),
        }

    def _write(self, cow: Cow, about: Row, rows: list[Row], scored: bool) -> None:
        if scored:
            score = gait.score(self.rng, self.farm, cow, about["visit_date"])  # type: ignore[arg-type]
            rows[0] = {**rows[0], "locomotion_score": score, "locomotion_scale": self.farm.scale}
        self.records.trims += [{**about, **row} for row in rows]

    def _row(self, cow: Cow, found: Found, on: date) -> Row:
        """One finding as a row, with what was done about it."""
        row: Row = {
            "foot": found.foot,
            "claw": found.claw,
            "zone": found.zone,
            "lesion": found.lesion,
            "lesion_detail": found.detail,
            "severity": found.severity,
            "dd_stage": found.dd_stage,
            "action": None if found.dd_stage == "M0" else "trim",
        }
        severity = found.severity or 0
        deep = found.lesion in ("SU", "TU", "BU") or found.detail == "WLA"
        if severity == 3 and (found.lesion in ("IP", "TN") or deep) and self.rng.random() < 0.3:
            row["action"] = "refer"
        elif deep and severity >= 2 and self.rng.random() < 0.75:
            row["action"] = "block"
            row["recheck_on"] = on + timedelta(days=truths.BLOCK_DAYS)
            self.due.append(_Due(cow, row["recheck_on"], found, self.rng.random() < truths.FORGOTTEN))  # type: ignore[arg-type]
        elif found.lesion in ("DD", "IP") and severity >= 2 and self.rng.random() < 0.4:
            row["action"] = "wrap"
        return row

    def _trim_cow(self, cow: Cow, on: date, trimmer: str, about: Row, measured: bool) -> None:
        rows = [self._row(cow, one, on) for one in self._seen(cow, on, trimmer, _ALL_FEET)]
        for claw in ("lateral", "medial"):
            reading = horn.measure_and_trim(self.rng, self.farm, cow, claw, on)
            if not measured:
                continue
            values = vars(reading)
            own = next((row for row in rows if (row.get("foot"), row.get("claw")) == ("RH", claw)), None)
            if own:
                own.update(values)
            else:
                rows.append({"foot": "RH", "claw": claw, **values})
        self._write(cow, about, rows or [{"lesion": "none"}], scored=True)

    def _whole_herd(self, first: date) -> None:
        farm = self.farm
        cows = self.here(first)
        size = len(cows)
        order = self.rng.permutation(size)
        visit = farm.whole_herd.index(first)
        for place, index in enumerate(order):
            cow = cows[index]
            day = place * farm.days // size
            on = first + timedelta(days=day)
            if not cow.here(on) or self.rng.random() < 0.03:
                continue
            trimmer = farm.trimmers[(day if farm.days > 1 else visit) % len(farm.trimmers)]
            measured = self._is_measured(cow)
            self._trim_cow(cow, on, trimmer, self._about(cow, on, trimmer, "whole-herd", size), measured)
            if cow.coming:
                cow.coming = (cow.coming[0], [])

    def _is_measured(self, cow: Cow) -> bool:
        return (int(cow.tag) * 7919) % 100 < 100 * self.farm.measured

    def _part_herd(self, on: date) -> None:
        """Cows soon to be dried off, and the lame ones first."""
        cows = self.here(on)
        trimmer = self.farm.trimmers[0]
        for cow in cows:
            lame = gait.lame_log_odds(self.farm, cow, on) > -0.6
            if cow.days_in_milk(on) > 300 or (lame and self.rng.random() < 0.7):
                about = self._about(cow, on, trimmer, "part-herd", len(cows))
                self._trim_cow(cow, on, trimmer, about, measured=self._is_measured(cow))

    def _lame_call(self, on: date) -> None:
        cows = self.here(on)
        trimmer = self.farm.trimmers[0]
        for cow in cows:
            hurting = cow.acute is not None and cow.acute[1] <= on and self.rng.random() < truths.CALLED
            fussed = gait.lame_log_odds(self.farm, cow, on) > 0 and self.rng.random() < 0.08
            if not (hurting or fussed):
                continue
            about = self._about(cow, on, trimmer, "lame-cow", len(cows))
            about["feet_seen"] = "hind"
            if hurting and cow.acute:
                found = [self._acute_finding(cow, on)]
                lesions.remember(cow, found, on)
                cow.acute = None
                about["feet_seen"] = found[0].foot
            else:
                found = self._seen(cow, on, trimmer, frozenset({"LH", "RH"}))
            rows = [self._row(cow, one, on) for one in found]
            self._write(cow, about, rows or [{"lesion": "none"}], scored=False)

    def _recheck(self, on: date) -> None:
        """Take off the blocks that are due; some are forgotten."""
        cows = self.here(on)
        trimmer = self.farm.trimmers[0]
        seen: set[str] = set()
        for due in list(self.due):
            if due.on > on + timedelta(days=4) or due.forgotten or not due.cow.here(on):
                continue
            self.due.remove(due)
            if due.cow.tag in seen:
                continue
            seen.add(due.cow.tag)
            about = self._about(due.cow, on, trimmer, "recheck", len(cows))
            about["feet_seen"] = due.found.foot
            drawn = self.rng.random()
            if drawn < 0.7:
                rows: list[Row] = [{"lesion": "none", "note": "block off, grown over"}]
            else:
                again = Found(
                    due.found.lesion,
                    due.found.detail,
                    due.found.foot,
                    due.found.claw,
                    due.found.zone,
                    max(1, (due.found.severity or 1) - (drawn < 0.92)),
                    None,
                )
                rows = [self._row(due.cow, again, on)]
                rows[0]["note"] = "block off, not closed" if drawn < 0.92 else "block had come off early"
                lesions.remember(due.cow, [again], on)
            self._write(due.cow, about, rows, scored=False)

    def _score_herd(self, on: date) -> None:
        for cow in self.here(on):
            if cow.group(on, self.farm.groups) == self.farm.groups[-1] or self.rng.random() < 0.04:
                continue
            self.records.scores.append(
                {
                    "date": on,
                    "farm": self.farm.name,
                    "cow": cow.tag,
                    "score": gait.score(self.rng, self.farm, cow, on),
                    "scale": self.farm.scale,
                    "scorer": self.farm.scorer,
                }
            )
