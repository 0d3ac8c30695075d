#!/usr/bin/env python3
"""The metal ledger once more, from outside.

An account of every gram and every cent, written from docs/ledger.md alone, so
that the shop's own ledger can be held against a second book that shares no line
of code with it. Where docs/ledger.md leaves two readings open, the one taken is
said at the place, after the word "Reading".

    python3 outside_ledger.py RECORDS.json > OUT.json
    python3 outside_ledger.py RECORDS.json --drop 7     the 7th movement left out

How the account is made:

    read        the live records in order of (at, seq)
    Streams     what mass each pour was                docs/ledger.md, section 3
    Marks       when a shell is complete, a casting scrapped          section 6
    Walk        one pass in order, mass and value per account   sections 1, 2, 4-8
    derive      movements, balances, heats, castings

Only integers and exact fractions are used. Mass is mg, value minor units.
"""

import argparse
import json
import sys
from datetime import datetime, timedelta, timezone
from zoneinfo import ZoneInfo
from collections import defaultdict
from decimal import Decimal
from fractions import Fraction

FIXED_ACCOUNTS = (
    "dross", "spill", "leak", "swarf", "unexplained",
    "delivered", "sold", "written_off", "outside",
)

# A later breakout with one of these replaces an earlier one; `not_judged` is no
# verdict and so replaces nothing.
VERDICTS = ("accepted", "repair", "scrap")


class LedgerError(Exception):
    """The records do not make a history that docs/ledger.md speaks of."""


# ---------------------------------------------------------------- arithmetic


def milligrams(kg):
    """A mass in kg as it stands in a record, in mg, half-even; None stays None."""
    if kg is None:
        return None
    if isinstance(kg, float):  # a caller who parsed without Decimal
        kg = Decimal(repr(kg))
    return round(Fraction(kg) * 10**6)  # round() of a Fraction is half-even


def half_even(a, b, c):
    """a * b / c, to the nearest integer, ties to the even one."""
    return round(Fraction(a * b, c))


def share(total, weights):
    """Section "Sharing". The weights come in the order that breaks ties.

    Floors of the magnitude first, one unit more to the largest remainders, then
    the sign. All weights 0 counts as all 1.
    """
    if not weights:
        return []
    if not any(weights):
        weights = [1] * len(weights)
    whole = sum(weights)
    size = abs(total)
    parts = [size * w // whole for w in weights]
    remainders = [size * w % whole for w in weights]
    by_remainder = sorted(range(len(weights)), key=lambda i: (-remainders[i], i))
    for i in by_remainder[: size - sum(parts)]:
        parts[i] += 1
    return parts if total >= 0 else [-p for p in parts]


def share_with_floors(total, weights, floors):
    """Section 3: share; who is below his floor is fixed there; the rest again."""
    if sum(floors) > total:
        return list(floors)
    given = [None] * len(weights)
    while True:
        free = [i for i in range(len(weights)) if given[i] is None]
        left = total - sum(g for g in given if g is not None)
        parts = dict(zip(free, share(left, [weights[i] for i in free])))
        below = [i for i in free if parts[i] < floors[i]]
        if not below:
            for i in free:
                given[i] = parts[i]
            return given
        for i in below:
            given[i] = floors[i]


# ------------------------------------------------------------------- records


class Record:
    def __init__(self, raw):
        self.seq = raw["seq"]
        self.id = raw["id"]
        self.kind = raw["kind"]
        self.at = raw["at_ms"]
        self.body = raw.get("body") or {}

    @property
    def order(self):
        return (self.at, self.seq)

    def get(self, name):
        return self.body.get(name)

    def mass(self, name):
        return milligrams(self.body.get(name))


class Shop:
    """The live records, sorted, with the few questions everybody asks of them."""

    def __init__(self, doc):
        self.records = sorted((Record(r) for r in doc["records"]), key=lambda r: r.order)
        self.estimates = doc.get("estimates") or {}
        self.by_id = {r.id: r for r in self.records}
        self.kinds = defaultdict(list)
        for r in self.records:
            self.kinds[r.kind].append(r)

        self.shell_of = {}  # casting id -> shell record
        for shell in self.kinds["shell"]:
            for casting_id in shell.get("casting_ids") or []:
                self.shell_of[casting_id] = shell

        self.closing_of = {}  # heat id -> closing record
        for closing in self.kinds["closing"]:
            if closing.get("heat_id") in self.closing_of:
                raise LedgerError(f"heat {closing.get('heat_id')} is closed twice")
            self.closing_of[closing.get("heat_id")] = closing

        self.pours_of_heat = defaultdict(list)
        self.pours_of_shell = defaultdict(list)
        for pour in self.kinds["pour"]:
            self.pours_of_heat[pour.get("heat_id")].append(pour)
            self.pours_of_shell[pour.get("shell_id")].append(pour)

        self.leaks_of = defaultdict(list)
        for leak in self.kinds["leak"]:
            self.leaks_of[leak.get("pour_id")].append(leak)

        self.records_of_casting = defaultdict(list)
        for r in self.records:
            if r.kind in ("breakout", "cut_off", "finish", "scrap"):
                self.records_of_casting[r.get("casting_id")].append(r)

        self.heels_into = self._heels()
        self.zones = self._zones()

    def _heels(self):
        """Section 2: which closings leave a heel to which heat, in order."""
        into = defaultdict(list)
        for closing in self.kinds["closing"]:
            heat = self.by_id[closing.get("heat_id")]
            crucible = heat.get("crucible")
            if not closing.mass("heel_kg") or crucible is None:
                continue
            for later in self.kinds["heat"]:
                if (later.order > closing.order and later.id != heat.id
                        and later.get("crucible") == crucible):
                    into[later.id].append(closing)
                    break
        return into

    # -- days and prices

    def _zones(self):
        """The zones that the shop was ever set to, each with the instant in ms from
        which it holds: midnight of its `from_on`, by its own clock."""
        zones = []
        for r in self.kinds["setting"]:
            if r.get("name") == "zone":
                zone = ZoneInfo(r.get("value"))
                midnight = datetime.fromisoformat(r.get("from_on")).replace(tzinfo=zone)
                zones.append((r.get("from_on"), r.seq, midnight.timestamp() * 1000, zone))
        return [(begins, zone) for _, _, begins, zone in sorted(zones, key=lambda z: z[:2])]

    def day(self, at_ms):
        """The shop's day of an instant, as 2026-03-14."""
        zone = timezone.utc
        for begins, other in self.zones:
            if begins <= at_ms:
                zone = other
        utc = datetime(1970, 1, 1, tzinfo=timezone.utc) + timedelta(milliseconds=at_ms)
        return utc.astimezone(zone).date().isoformat()

    def scrap_price(self, alloy, at_ms):
        """Section 2, "Scrap price": minor units per kg, or None when none is in force."""
        day = self.day(at_ms)
        for subject in (alloy, None):
            rates = [r for r in self.kinds["rate"]
                     if r.get("what") == "scrap_kg" and r.get("alloy") == subject
                     and r.get("from_on") <= day]
            if rates:
                last = max(rates, key=lambda r: r.get("from_on"))
                if not last.get("ended"):
                    return last.get("amount_minor")
        return None

    # -- masses on record

    def charged(self, heat_id):
        """C over the whole heat, a heel taken over included."""
        lines = sum(c.mass("mass_kg") or 0
                    for c in self.kinds["charge"] + self.kinds["heat_event"]
                    if c.get("heat_id") == heat_id and c.get("lot_id") is not None)
        return lines + sum(c.mass("heel_kg") for c in self.heels_into[heat_id])

    def leaked(self, pour):
        """Lost + swept of one stream."""
        return sum((k.mass("lost_kg") or 0) + (k.mass("swept_kg") or 0)
                   for k in self.leaks_of[pour.id])

    def net_records(self, casting_id):
        return [r for r in self.records_of_casting[casting_id]
                if r.kind in ("breakout", "cut_off") and r.mass("net_kg") is not None]

    def gating_returned(self, record):
        """What this record returns out of the shell, or 0.

        Reading: `returned_kg` of a breakout or a cut-off is gating. That of a
        scrap record is the casting's own metal; when the casting has no net at
        all, its metal still lies in the shell and is returned as gating.
        """
        if record.kind in ("breakout", "cut_off"):
            return record.mass("returned_kg") or 0
        if record.kind == "scrap" and not self.net_records(record.get("casting_id")):
            shell = self.shell_of.get(record.get("casting_id"))
            if shell is not None and self.pours_of_shell[shell.id]:
                return record.mass("returned_kg") or 0
        return 0

    def known_out(self, shell):
        """Section 3, "Known out": net + returned + lost + swept."""
        total = sum(self.leaked(p) for p in self.pours_of_shell[shell.id])
        for casting_id in shell.get("casting_ids") or []:
            total += sum(r.mass("net_kg") for r in self.net_records(casting_id))
            total += sum(self.gating_returned(r)
                         for r in self.records_of_casting[casting_id])
        return total

    def gross_records(self, shell):
        """Every weighing of the opened shell, in order; the last one counts."""
        found = [r for r in self.kinds["shell_breakout"] if r.get("shell_id") == shell.id]
        casting_ids = shell.get("casting_ids") or []
        if len(casting_ids) == 1:
            found += [r for r in self.kinds["breakout"]
                      if r.get("casting_id") == casting_ids[0]]
        found = [r for r in found if r.mass("gross_kg") is not None]
        return sorted(found, key=lambda r: r.order)

    def gross(self, shell):
        weighings = self.gross_records(shell)
        return weighings[-1].mass("gross_kg") if weighings else None

    # -- estimates

    def casting_estimate(self, casting_id):
        shell = self.shell_of[casting_id]
        castings = (self.estimates.get(shell.id) or {}).get("castings") or {}
        return int(castings.get(casting_id) or 0)

    def shell_estimate(self, shell_id):
        known = self.estimates.get(shell_id) or {}
        shell = self.by_id[shell_id]
        return int(known.get("gating_mg") or 0) + sum(
            self.casting_estimate(c) for c in shell.get("casting_ids") or [])

    # -- pools

    def pool(self, named, alloy):
        """The lot a return names, else the alloy's default pool."""
        if named is not None:
            return "lot:" + named
        for lot in self.kinds["metal_lot"]:
            if (lot.get("kind") == "returns" and lot.get("alloy") == alloy
                    and lot.get("owner_client_id") is None):
                return "lot:" + lot.id
        raise LedgerError(f"a return names no lot and there is no pool of {alloy}")


# ------------------------------------------------- section 3: mass of streams


class Streams:
    """What mass was poured, from all live records whatever their time."""

    def __init__(self, shop):
        self.shop = shop
        self.how = {}          # pour id -> weighed | gross | estimated | blank
        self.mass = {}         # pour id -> mg
        self.floor = {}        # pour id -> mg, uncertain streams only
        self.unexplained = {}  # closed heat id -> mg, may be negative
        for shell in shop.kinds["shell"]:
            self._name(shell)
            self._by_gross(shell)
            self._floors(shell)
        for heat in shop.kinds["heat"]:
            self._settle(heat)

    def _name(self, shell):
        gross_known = self.shop.gross(shell) is not None
        for pour in self.shop.pours_of_shell[shell.id]:
            stated = pour.mass("poured_kg")
            basis = pour.get("poured_basis") or "weighed"
            if stated is not None and basis == "weighed":
                self.how[pour.id] = "weighed"
                self.mass[pour.id] = stated
            elif gross_known:
                self.how[pour.id] = "gross"
            elif stated is not None:
                self.how[pour.id] = "estimated"
            else:
                self.how[pour.id] = "blank"

    def _estimate(self, pour):
        stated = pour.mass("poured_kg")
        if stated is not None and pour.get("poured_basis") == "estimated":
            return stated
        return self.shop.shell_estimate(pour.get("shell_id"))

    def _of_shell(self, shell, *how):
        pours = [p for p in self.shop.pours_of_shell[shell.id] if self.how[p.id] in how]
        return sorted(pours, key=lambda p: p.seq)

    def _by_gross(self, shell):
        by_gross = self._of_shell(shell, "gross")
        if not by_gross:
            return
        total = self.shop.gross(shell) + sum(
            self.shop.leaked(p) for p in self.shop.pours_of_shell[shell.id])
        weighed = sum(self.mass[p.id] for p in self._of_shell(shell, "weighed"))
        parts = share(max(0, total - weighed), [self._estimate(p) for p in by_gross])
        for pour, part in zip(by_gross, parts):
            self.mass[pour.id] = part

    def _floors(self, shell):
        uncertain = self._of_shell(shell, "estimated", "blank")
        weighed = sum(self.mass[p.id] for p in self._of_shell(shell, "weighed"))
        uncovered = max(0, self.shop.known_out(shell) - weighed)
        parts = share(uncovered, [self._estimate(p) for p in uncertain])
        for pour, part in zip(uncertain, parts):
            self.floor[pour.id] = max(part, self.shop.leaked(pour))

    def _settle(self, heat):
        """The uncertain streams of one heat, and its unexplained if it is closed."""
        pours = sorted(self.shop.pours_of_heat[heat.id], key=lambda p: p.seq)
        estimated = [p for p in pours if self.how[p.id] == "estimated"]
        blank = [p for p in pours if self.how[p.id] == "blank"]
        uncertain = [p for p in pours if p in estimated or p in blank]
        closing = self.shop.closing_of.get(heat.id)

        for pour in estimated:
            self.mass[pour.id] = max(self._estimate(pour), self.floor[pour.id])
        for pour in blank:
            self.mass[pour.id] = self.floor[pour.id]
        if closing is None:
            return

        left = self.shop.charged(heat.id)
        for name in ("pigged_kg", "dross_kg", "spilled_kg", "heel_kg"):
            left -= closing.mass(name) or 0
        left -= sum(self.mass[p.id] for p in pours if p not in uncertain)
        if not uncertain:
            self.unexplained[heat.id] = left
            return

        sharers, to_share = uncertain, left
        if blank:
            for_blanks = left - sum(self.mass[p.id] for p in estimated)
            if for_blanks >= sum(self.floor[p.id] for p in blank):
                sharers, to_share = blank, for_blanks
        parts = share_with_floors(
            to_share,
            [self._estimate(p) for p in sharers],
            [self.floor[p.id] for p in sharers])
        for pour, part in zip(sharers, parts):
            self.mass[pour.id] = part
        self.unexplained[heat.id] = to_share - sum(parts)  # 0, or the floors' excess

    def closed_by_difference(self, heat):
        return heat.id in self.unexplained and any(
            self.how[p.id] in ("estimated", "blank")
            for p in self.shop.pours_of_heat[heat.id])


# --------------------------------- section 6: when shells and castings are done


class Marks:
    """Which record completes a shell, which record scraps a casting."""

    def __init__(self, shop):
        self.shop = shop
        self.completed_by = defaultdict(list)  # record id -> shells
        self.scrapped_by = defaultdict(list)   # record id -> (casting id, scrapping)
        self.scrapping = {}                    # casting id -> the record that counts
        for shell in sorted(shop.kinds["shell"], key=lambda s: s.seq):
            record = self._completing(shell)
            if record is not None:
                self.completed_by[record.id].append(shell)
        for casting in sorted(shop.kinds["casting"], key=lambda c: c.seq):
            self._scrapping(casting.id)

    def _verdict(self, casting_id):
        """The record by which a casting has its verdict, or None: the first of its
        verdicts, finish and scrapping. A shell does not become complete anew when a
        casting is judged again, finished or scrapped weeks later.
        """
        judged = [r for r in self.shop.records_of_casting[casting_id]
                  if r.kind in ("finish", "scrap")
                  or r.kind == "breakout" and r.get("verdict") in VERDICTS]
        return judged[0] if judged else None

    def _completing(self, shell):
        needed = []
        casting_ids = shell.get("casting_ids") or []
        if not casting_ids:
            return None
        for casting_id in casting_ids:
            nets = self.shop.net_records(casting_id)
            verdict = self._verdict(casting_id)
            if not nets or verdict is None:
                return None
            needed += nets + [verdict]
        for pour in self.shop.pours_of_shell[shell.id]:
            closing = self.shop.closing_of.get(pour.get("heat_id"))
            if closing is None:
                return None
            needed.append(closing)
        needed += self.shop.gross_records(shell)
        return max(needed, key=lambda r: r.order)

    def _scrapping(self, casting_id):
        """The last word on a casting: scrapped or not, kept or not."""
        last = None
        for r in self.shop.records_of_casting[casting_id]:
            if r.kind in ("finish", "scrap") or r.get("verdict") in VERDICTS:
                last = r
        if last is None or last.kind == "finish":
            return
        if last.kind == "breakout" and last.get("verdict") != "scrap":
            return
        self.scrapping[casting_id] = last
        nets = self.shop.net_records(casting_id)
        if nets and not last.get("kept"):
            record = max(nets + [last], key=lambda r: r.order)
            self.scrapped_by[record.id].append((casting_id, last))


# ------------------------------------------------------------------- the walk


class Walk:
    """One pass through the records in order, carrying mass and value."""

    def __init__(self, shop, streams, marks):
        self.shop = shop
        self.streams = streams
        self.marks = marks
        self.movements = []
        self.held_mass = defaultdict(int)
        self.held_value = defaultdict(int)
        self.charged_mass = defaultdict(int)   # heat id -> C so far
        self.charged_value = defaultdict(int)  # heat id -> V so far
        self.heel_value = {}                   # closed heat id -> value that stays
        self.closed = set()
        self.brought = defaultdict(lambda: defaultdict(int))  # shell -> heat -> mg
        self.returned = defaultdict(int)       # shell id -> mg returned so far
        self.netted = defaultdict(int)         # shell id -> mg net so far
        self.delivered = set()

    def run(self):
        # A leak happens at the order of its pour, after the pour itself.
        steps = []
        for r in self.shop.records:
            when = r
            if r.kind == "leak":
                when = self.shop.by_id[r.get("pour_id")]
            steps.append((when.at, when.seq, r.kind == "leak", r.seq, r))
        for at, seq, _, _, record in sorted(steps, key=lambda s: s[:4]):
            self.stamp = {"source": record.id, "at_ms": at, "seq": seq}
            entry = getattr(self, "enter_" + record.kind, None)
            if entry is not None:
                entry(record)
            for shell in self.marks.completed_by.get(record.id, []):
                self.complete(shell)
            for casting_id, scrapping in self.marks.scrapped_by.get(record.id, []):
                self.scrap_return(casting_id, scrapping)
            self.send_on()
        return self.movements

    def send_on(self):
        """Section 8: what a record brought to a delivered casting goes on with it."""
        for account in sorted(self.delivered):
            self.move_both(account, "delivered")

    # -- the single way to move anything

    def move(self, source, target, mass, value):
        if mass == 0 and value == 0:
            return
        if mass < 0:
            raise LedgerError(f"a negative mass from {source} to {target}")
        self.movements.append({
            **self.stamp, "from": source, "to": target,
            "mass_mg": mass, "value_minor": value})
        self.held_mass[source] -= mass
        self.held_mass[target] += mass
        self.held_value[source] -= value
        self.held_value[target] += value

    def move_both(self, source, target):
        """All that lies in one place, mass and value, to another."""
        mass = self.held_mass[source]
        if mass < 0:
            self.move(target, source, -mass, -self.held_value[source])
        else:
            self.move(source, target, mass, self.held_value[source])

    def move_either_way(self, source, target, mass):
        """A difference without value: against the arrow when it is negative."""
        if mass >= 0:
            self.move(source, target, mass, 0)
        else:
            self.move(target, source, -mass, 0)

    # -- section 1: lots

    def enter_metal_lot(self, r):
        self.move("outside", "lot:" + r.id, r.mass("mass_kg") or 0, r.get("cost_minor") or 0)

    def enter_receipt(self, r):
        self.move("outside", "lot:" + r.get("lot_id"),
                  r.mass("mass_kg") or 0, r.get("cost_minor") or 0)

    def draw(self, lot, target, mass):
        """Take mass out of a lot with its value; answers the value."""
        short = mass - self.held_mass[lot]
        if short > 0:
            self.move("unexplained", lot, short, 0)
        if mass == self.held_mass[lot]:
            value = self.held_value[lot]
        else:
            value = half_even(self.held_value[lot], mass, self.held_mass[lot])
        self.move(lot, target, mass, value)
        return value

    def enter_count(self, r):
        lot = "lot:" + r.get("lot_id")
        self.move_either_way(lot, "unexplained", self.held_mass[lot] - r.mass("mass_kg"))

    def enter_out(self, r):
        self.draw("lot:" + r.get("lot_id"), r.get("to"), r.mass("mass_kg"))

    def enter_transfer(self, r):
        self.draw("lot:" + r.get("lot_id"), "lot:" + r.get("to_lot_id"), r.mass("mass_kg"))

    def enter_charge(self, r):
        heat_id = r.get("heat_id")
        mass = r.mass("mass_kg") or 0
        value = self.draw("lot:" + r.get("lot_id"), "heat:" + heat_id, mass)
        self.charged_mass[heat_id] += mass
        self.charged_value[heat_id] += value

    def enter_heat_event(self, r):
        """An event that adds metal is a charge line."""
        if r.get("lot_id") is not None:
            self.enter_charge(r)

    # -- section 2: heats

    def at_unit_value(self, heat_id, mass):
        """half-even(m * V / C) by the charge lines so far; 0 when C = 0."""
        c = self.charged_mass[heat_id]
        return half_even(mass, self.charged_value[heat_id], c) if c else 0

    def carried(self, heat_id, mass):
        """What a return carries: at the scrap price in force, but never more than
        the value that stands on the metal."""
        standing = self.at_unit_value(heat_id, mass)
        alloy = self.shop.by_id[heat_id].get("alloy")
        price = self.shop.scrap_price(alloy, self.stamp["at_ms"])
        if price is None:
            return standing
        return min(half_even(mass, price, 10**6), standing)

    def enter_heat(self, r):
        for closing in self.shop.heels_into[r.id]:
            giver = closing.get("heat_id")
            mass, value = closing.mass("heel_kg"), self.heel_value[giver]
            self.move("heat:" + giver, "heat:" + r.id, mass, value)
            self.charged_mass[r.id] += mass
            self.charged_value[r.id] += value

    # -- returns, sections 2, 5 and 6

    def give_back(self, place, shell, mass, named_lot, value_from_place_alone=False):
        """A return of metal that lies in `place` and came through `shell`.

        Split over the heats by the mass their streams had brought by then; each
        part at its own heat's unit value, out of the heat while that is open,
        out of the place itself from its closing on.
        """
        brought = self.brought[shell.id] if shell else {}
        heats = sorted((self.shop.by_id[h] for h in brought), key=lambda h: h.seq)
        alloy = heats[0].get("alloy") if heats else None
        pool = self.shop.pool(named_lot, alloy)
        if not heats:
            self.move(place, pool, mass, 0)
        parts = share(mass, [brought[h.id] for h in heats])
        for heat, part in zip(heats, parts):
            value = self.carried(heat.id, part)
            if heat.id in self.closed or value_from_place_alone:
                self.move(place, pool, part, value)
            else:
                self.move(place, pool, part, 0)
                self.move("heat:" + heat.id, pool, 0, value)

    # -- section 4: pours and leaks

    def enter_pour(self, r):
        heat_id, shell_id = r.get("heat_id"), r.get("shell_id")
        mass = self.streams.mass[r.id]
        self.move("heat:" + heat_id, "shell:" + shell_id, mass, 0)
        self.brought[shell_id][heat_id] += mass

    def enter_leak(self, r):
        shell = self.shop.by_id[self.shop.by_id[r.get("pour_id")].get("shell_id")]
        self.move("shell:" + shell.id, "leak", r.mass("lost_kg") or 0, 0)
        swept = r.mass("swept_kg") or 0
        if swept:
            self.give_back("shell:" + shell.id, shell, swept, r.get("swept_lot_id"))

    # -- section 5: closing

    def enter_closing(self, r):
        heat = self.shop.by_id[r.get("heat_id")]
        account = "heat:" + heat.id
        pigged = r.mass("pigged_kg") or 0
        if pigged:
            pool = self.shop.pool(r.get("pigged_lot_id"), heat.get("alloy"))
            self.move(account, pool, pigged, self.carried(heat.id, pigged))
        self.move(account, "dross", r.mass("dross_kg") or 0, 0)
        self.move(account, "spill", r.mass("spilled_kg") or 0, 0)
        self.move_either_way(account, "unexplained", self.streams.unexplained[heat.id])

        self.closed.add(heat.id)
        heel_value = self.at_unit_value(heat.id, r.mass("heel_kg") or 0)
        self.heel_value[heat.id] = heel_value
        pours = self.shop.pours_of_heat[heat.id]
        if not pours:
            return  # its value stays on the heat
        rest = self.held_value[account] - heel_value
        weights = defaultdict(int)
        for pour in pours:
            weights[pour.get("shell_id")] += self.streams.mass[pour.id]
        shell_ids = sorted(weights, key=lambda s: self.shop.by_id[s].seq)
        for shell_id, part in zip(shell_ids, share(rest, [weights[s] for s in shell_ids])):
            self.move(account, "shell:" + shell_id, 0, part)

    # -- section 6: breakout

    def enter_breakout(self, r):
        self.net(r)
        self.gating(r)

    enter_cut_off = enter_breakout

    def enter_scrap(self, r):
        self.gating(r)

    def net(self, r):
        net = r.mass("net_kg")
        if net is None:
            return
        shell = self.shop.shell_of[r.get("casting_id")]
        self.move("shell:" + shell.id, "casting:" + r.get("casting_id"), net, 0)
        self.netted[shell.id] += net

    def gating(self, r):
        mass = self.shop.gating_returned(r)
        if not mass:
            return
        shell = self.shop.shell_of[r.get("casting_id")]
        self.give_back("shell:" + shell.id, shell, mass, r.get("returned_lot_id"))
        self.returned[shell.id] += mass

    def complete(self, shell):
        """What the opened shell no longer holds, and its value to its castings."""
        account = "shell:" + shell.id
        gross = self.shop.gross(shell)
        if gross is not None:
            swarf = max(0, gross - self.netted[shell.id] - self.returned[shell.id])
            self.move(account, "swarf", swarf, 0)
        self.move_either_way(account, "unexplained", self.held_mass[account])

        casting_ids = sorted(shell.get("casting_ids"),
                             key=lambda c: self.shop.by_id[c].get("tag"))
        weights = [self.shop.casting_estimate(c) for c in casting_ids]
        parts = share(self.held_value[account], weights)
        for casting_id, part in zip(casting_ids, parts):
            self.move(account, "casting:" + casting_id, 0, part)

    def scrap_return(self, casting_id, scrapping):
        """A scrapped casting's own metal goes back into a pool.

        Reading: its value comes out of that casting alone, also before the
        heat's closing; the casting then holds negative value until its share
        comes. Section 6 is held to go before the general rule of section 5.
        """
        account = "casting:" + casting_id
        on_it = self.held_mass[account]
        # `returned_kg` of a breakout is its gating and is entered there.
        stated = scrapping.mass("returned_kg") if scrapping.kind == "scrap" else None
        mass = on_it if stated is None else stated
        if mass > on_it:
            self.move("unexplained", account, mass - on_it, 0)
        if mass:
            lot = scrapping.get("returned_lot_id")
            for r in reversed(self.shop.net_records(casting_id)):
                lot = lot or r.get("returned_lot_id")
            self.give_back(account, self.shop.shell_of.get(casting_id), mass, lot,
                           value_from_place_alone=True)
        if mass < on_it:
            self.move(account, "unexplained", on_it - mass, 0)

    # -- section 7: bench

    def enter_work(self, r):
        if r.get("casting_id") is None:
            return
        account = "casting:" + r.get("casting_id")
        rod = r.mass("rod_kg") or 0
        if rod and r.get("rod_lot_id") is not None:
            self.draw("lot:" + r.get("rod_lot_id"), account, rod)
        elif rod:
            self.move("outside", account, rod, 0)
        after = r.mass("mass_after_kg")
        if after is None:
            return
        change = self.held_mass[account] - after
        if change >= 0:
            self.move(account, "swarf", change, 0)
        else:
            self.move("unexplained", account, -change, 0)

    # -- section 8: delivery

    def enter_delivery(self, r):
        """Reading: "not scrapped" is asked at the order of the delivery."""
        castings = [c for c in self.shop.kinds["casting"]
                    if c.get("piece_id") == r.get("piece_id")]
        for casting in sorted(castings, key=lambda c: c.seq):
            scrapping = self.marks.scrapping.get(casting.id)
            if scrapping is not None and scrapping.order < r.order:
                continue
            account = "casting:" + casting.id
            self.move_both(account, "delivered")
            self.delivered.add(account)


# --------------------------------------------------------------- the account


def balances_of(accounts, movements):
    held = {a: {"mass_mg": 0, "value_minor": 0} for a in accounts}
    for m in movements:
        for account, sign in ((m["from"], -1), (m["to"], 1)):
            entry = held.setdefault(account, {"mass_mg": 0, "value_minor": 0})
            entry["mass_mg"] += sign * m["mass_mg"]
            entry["value_minor"] += sign * m["value_minor"]
    return held


def heat_of(shop, streams, heat):
    closing = shop.closing_of.get(heat.id)

    def on_closing(name):
        return (closing.mass(name) or 0) if closing else 0

    return {
        "charged_mg": shop.charged(heat.id),
        "poured_mg": sum(streams.mass[p.id] for p in shop.pours_of_heat[heat.id]),
        "pigged_mg": on_closing("pigged_kg"),
        "dross_mg": on_closing("dross_kg"),
        "spilled_mg": on_closing("spilled_kg"),
        "heel_mg": on_closing("heel_kg"),
        "unexplained_mg": streams.unexplained.get(heat.id, 0),
        "closed_by_difference": streams.closed_by_difference(heat),
        "closed": closing is not None,
    }


def derive(doc, drop=None):
    """The whole account of a document of records; `drop` as on the command line."""
    shop = Shop(doc)
    streams = Streams(shop)
    movements = Walk(shop, streams, Marks(shop)).run()
    if drop is not None:
        if not 1 <= drop <= len(movements):
            raise LedgerError(f"there are {len(movements)} movements, none is no. {drop}")
        del movements[drop - 1]

    accounts = list(FIXED_ACCOUNTS)
    for kind, prefix in (("metal_lot", "lot:"), ("heat", "heat:"),
                         ("shell", "shell:"), ("casting", "casting:")):
        accounts += [prefix + r.id for r in shop.kinds[kind]]

    # Resting value: what a casting holds or held when delivered.
    resting = {c.id: 0 for c in shop.kinds["casting"]}
    for m in movements:
        if m["to"].startswith("casting:"):
            resting[m["to"][len("casting:"):]] += m["value_minor"]
        if m["from"].startswith("casting:") and m["to"] != "delivered":
            resting[m["from"][len("casting:"):]] -= m["value_minor"]

    return {
        "movements": movements,
        "balances": balances_of(accounts, movements),
        "heats": {h.id: heat_of(shop, streams, h) for h in shop.kinds["heat"]},
        "castings": {c: {"resting_value_minor": v} for c, v in resting.items()},
    }


def main(argv=None):
    parser = argparse.ArgumentParser(
        description="Recompute every metal movement from the shop's records.")
    parser.add_argument("records", help="the document of live records, JSON")
    parser.add_argument("--drop", type=int, metavar="N",
                        help="leave out the N-th movement (from 1), to see that a "
                             "comparison catches it")
    args = parser.parse_args(argv)
    with open(args.records, encoding="utf-8") as f:
        doc = json.load(f, parse_float=Decimal)
    try:
        account = derive(doc, drop=args.drop)
    except LedgerError as e:
        sys.exit(f"outside_ledger: {e}")
    json.dump(account, sys.stdout, indent=1, sort_keys=True)
    sys.stdout.write("\n")


if __name__ == "__main__":
    main()
