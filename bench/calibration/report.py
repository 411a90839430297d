"""docs/results/calibration.md from the rows kept beside it."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence

import numpy as np

from bench import machine
from bench.calibration import detection, outside, ranks, rows
from bench.calibration.population import SETS

OWN = machine.RESULTS / "calibration_own.csv"
NESTED = machine.RESULTS / "calibration_nested.csv"
SINCE = machine.RESULTS / "calibration_nested_since.csv"  # with later priors; goes when all of NESTED is made anew
OTHER = machine.RESULTS / "calibration_other_physics.csv"
TRAINED = machine.RESULTS / "calibration_trained.csv"
WHO = ("engine", "engine, their mix", "classifier")
REPORT = machine.RESULTS / "calibration.md"
Row = Mapping[str, str]


def write() -> str:
    """Write the report of whatever rows there are; returns its text."""
    own, nested, other, trained = (rows.read(path) for path in (OWN, NESTED, OTHER, TRAINED))
    parts = [
        "# Calibration",
        "",
        "Written by `python -m bench.calibrate`; the rows behind it are the CSV files beside this page.",
        "",
        *machine.lines("dynesty", "scikit-learn"),
        "",
    ]
    parts += _own(own) if own else []
    parts += _nested(nested) if nested else []
    parts += _detection("Causes found: our own prior population", own) if own else []
    parts += _detection("Causes found: vehicles of other physics", other) if other else []
    parts += _detection("What a classifier trained on those other physics finds", trained) if trained else []
    parts += _side_by_side(other, trained) if other and trained else []
    parts += _probabilities("Class probabilities on other physics", other) if other else []
    parts += _severity_by_fault(other) if any(r.get("low") for r in other) else []
    text = "\n".join(parts) + "\n"
    REPORT.write_text(text, encoding="utf-8", newline="\n")
    return text


def met(good: bool, chance: bool = False) -> str:
    """The mark of a row; `chance` says that the size of the sample alone explains a miss."""
    return "met" if good else "within chance" if chance else "**missed**"


def _head(*columns: str) -> list[str]:
    return ["", _line(*columns), "|" + "---|" * len(columns)]


def _line(*cells: object) -> str:
    return "| " + " | ".join(map(str, cells)) + " |"


def _own(own: Sequence[Row]) -> list[str]:
    redrawn = sum(int(r["redrawn"]) for r in own)
    text = [
        f"## Simulation-based calibration, {len(own)} draws",
        "",
        "Hypothesis, unknowns, readings and words drawn from the model; three reading sets in turn. "
        f"{redrawn} draws did not solve and were drawn again.",
        "",
    ]
    return text + _probabilities("Class probabilities", own, level="###") + _evened(own) + _coverage(own) + _ranks(own)


def _evened(own: Sequence[Row]) -> list[str]:
    """The same without the luck of which causes were drawn."""
    given, truths = [detection.probabilities(r) for r in own], [r["truth"] for r in own]
    causes = ranks.told_over_drawn(given, truths)
    weights = np.array([causes[t][0] / causes[t][1] for t in truths])
    p, hit = _pairs(own, "first cause")
    off = {
        c: (drawn - told) / np.sqrt(max(told * (1.0 - told / len(own)), 1e-9)) for c, (told, drawn) in causes.items()
    }
    cause = max(off, key=lambda c: abs(off[c]))
    told, drawn = causes[cause]
    return [
        f"Which causes were drawn is luck too: {cause} {drawn} times where {told:.0f} were told ({off[cause]:+.1f} "
        "standard errors, the furthest of all). With every cause weighted to what was told of it: first cause told "
        f"{(weights * p).mean():.3f}, true {(weights * hit).mean():.3f}, error "
        f"{ranks.calibration_error(p, hit, weights):.3f}; log probability of the truth "
        f"{ranks.surprise(given, truths, weights):+.1f} standard errors.",
        "",
    ]


def _probabilities(title: str, given: Sequence[Row], level: str = "##") -> list[str]:
    """Expected calibration error of the first cause, of healthy and of all classes together."""
    text = [
        f"{level} {title}",
        "",
        "Error: expected calibration error in ten bins. Perfect: median and 95th percentile of what honest "
        "probabilities would show by chance with as many draws.",
        *_head("probability of", "set", "n", "mean", "came true", "error", "perfect", "aim 0.03"),
    ]
    for what in ("first cause", "healthy", "every class"):
        for name in ("all", *SETS) if what == "first cause" else ("all",):
            mine = [r for r in given if name in ("all", r["set"])]
            if mine:
                text.append(_calibration_line(what, name, *_pairs(mine, what)))
    z = ranks.surprise([detection.probabilities(r) for r in given], [r["truth"] for r in given])
    note = f"Log probability of the truth less what honest probabilities expect: {z:+.1f} standard errors."
    return [*text, "", note, ""]


def _calibration_line(what: str, name: str, p: np.ndarray, hit: np.ndarray) -> str:
    error, (middle, high) = ranks.calibration_error(p, hit), ranks.perfect_error(p)
    mark = met(error <= 0.03, error <= high)
    means = (f"{p.mean():.3f}", f"{hit.mean():.3f}", f"{error:.3f}", f"{middle:.3f}, {high:.3f}")
    return _line(what, name, len(p), *means, mark)


def _pairs(given: Sequence[Row], what: str) -> tuple[np.ndarray, np.ndarray]:
    """Probabilities and whether they came true."""
    pairs = []
    for row in given:
        p = detection.probabilities(row)
        if what == "first cause":
            first = max(p, key=lambda f: p[f])
            pairs.append((p[first], first == row["truth"]))
        elif what == "healthy":
            pairs.append((p["healthy"], row["truth"] == "healthy"))
        else:
            pairs += [(v, f == row["truth"]) for f, v in p.items()]
    return np.array([p for p, _ in pairs]), np.array([hit for _, hit in pairs], float)


def _coverage(own: Sequence[Row]) -> list[str]:
    text = [
        "### Coverage of the 90 % severity intervals",
        "",
        "Of the true cause as a user would see it: listed where its probability is over 2 %.",
        *_head("set", "n", "inside, %", "standard error", "below", "above", "aim 87 to 93"),
    ]
    for name in ("all", *SETS):
        mine = [r for r in own if r.get("low") and name in ("all", r["set"])]
        if not mine:
            continue
        inside, below, above = _inside(mine)
        chance = abs(inside - 0.9) <= 1.96 * ranks.standard_error(0.9, len(mine))
        percent = (inside, ranks.standard_error(inside, len(mine)), below, above)
        mark = met(0.87 <= inside <= 0.93, chance)
        text.append(_line(name, len(mine), *(f"{100 * v:.1f}" for v in percent), mark))
    return [*text, ""]


def _inside(given: Sequence[Row]) -> tuple[float, float, float]:
    """Shares of severities inside, below and above their intervals."""
    s, low, high = (np.array([float(r[k]) for r in given]) for k in ("severity", "low", "high"))
    return float(((s >= low) & (s <= high)).mean()), float((s < low).mean()), float((s > high).mean())


def _severity_by_fault(other: Sequence[Row]) -> list[str]:
    """Coverage of the 90 % intervals on other physics, everything read."""
    text = [
        "## Severity on other physics",
        "",
        "90 % intervals of the true cause where it is listed (over 2 %), everything read. A restriction's healthy "
        "passage, a valve's full opening and where foreign gas gathers are other things in that simulator, so shares "
        "of them are not ours.",
        *_head("fault", "n", "inside, %", "below", "above"),
    ]
    sized = [r for r in other if r.get("low") and r["set"] == SETS[2]]
    for fault in ("all", *sorted({r["truth"] for r in sized})):
        mine = [r for r in sized if fault in ("all", r["truth"])]
        text.append(_line(fault, len(mine), *(f"{100 * v:.0f}" for v in _inside(mine))))
    return [*text, ""]


def _ranks(own: Sequence[Row]) -> list[str]:
    text = [
        "### Ranks of the truth among the samples of the true hypothesis",
        "",
        f"{ranks.KEPT} samples each, {ranks.BINS} bins; even bins pass. Eight tests: p under 0.006 fails "
        "(5 % overall).",
        *_head("unknown", "n", "bins", "chi-square", "p", "aim"),
    ]
    for name in ("severity", *ranks.WATCHED):
        seen = np.array([int(r[f"rank_{name}"]) for r in own if r.get(f"rank_{name}")])
        if len(seen) < ranks.BINS:
            continue
        counts, statistic, p = ranks.uniformity(seen)
        bins = " ".join(map(str, counts))
        text.append(_line(name, len(seen), bins, f"{statistic:.1f}", f"{p:.3f}", met(p >= 0.006)))
    return [*text, ""]


def _since(newer: Sequence[Row]) -> list[str]:
    """What was made with later priors than the table below, by the last decision that changed them."""
    if not newer:
        return []
    told = [
        f"decision 0{decision} " + ", ".join(_difference(r) for r in newer if r["decision"] == decision)
        for decision in sorted({r["decision"] for r in newer})
    ]
    return [
        "- The rows below were made before decision 014; how one hypothesis is sampled is the same. Ours less dynesty since then (less its longer run), "
        f"with the priors of {'; '.join(told)}.",
    ]


def _difference(row: Row) -> str:
    """Ours less dynesty's log evidence, and less that of its longer run where there was one."""
    longer = f" ({float(row['ours']) - float(row['dynesty_long']):+.2f})" if row.get("dynesty_long") else ""
    return f"{float(row['difference']):+.2f}{longer}"


def _nested(nested: Sequence[Row]) -> list[str]:
    difference, mean, scatter, theirs = (
        np.array([float(r[k]) for r in nested]) for k in ("difference", "ours_mean", "ours_scatter", "dynesty_error")
    )
    first, dynesty, plain = (np.array([float(r[k]) for r in nested]) for k in ("ours", "dynesty", "importance"))
    mean = mean - dynesty
    size = abs(difference)
    last = abs(first - np.array([float(r.get("dynesty_long") or r["dynesty"]) for r in nested]))
    text = [
        f"## Against nested sampling (dynesty), {len({r['index'] for r in nested})} sheets, {len(nested)} evidences",
        "",
        "Same likelihood and prior. One run of ours against one of dynesty's; our own scatter from four seeds; "
        "dynesty's error as it reports it.",
        "",
        *_since(rows.read(SINCE)),
        f"- Log evidence within 0.3 of dynesty's first run in {(size <= 0.3).sum()} of {len(size)}; with the last word of "
        f"its longer run where that is further apart, in {(last <= 0.3).sum()} ({met(bool((last <= 0.3).all()))} for all); "
        f"first run: median difference {np.median(difference):+.2f}, median size {np.median(size):.2f}, largest {size.max():.2f}.",
        f"- Against plain importance sampling ({outside.DRAWS:,} draws from a wide t around our particles): ours less that "
        f"{np.median(first - plain):+.2f} in the median, largest size {abs(first - plain).max():.2f}; dynesty less that "
        f"{np.median(dynesty - plain):+.2f}, largest {abs(dynesty - plain).max():.2f}.",
        f"- Mean of four of our runs less dynesty: median {np.median(mean):+.2f}. Our scatter: median "
        f"{np.median(scatter):.2f}, largest {scatter.max():.2f}; dynesty's error: median {np.median(theirs):.2f}.",
    ]
    apart, nearer = size > outside.AGREED, abs(first - plain) < abs(dynesty - plain)
    text.append(
        f"- Further apart than 0.3: {apart.sum()}, of which plain importance sampling is nearer to ours in "
        f"{(apart & nearer).sum()}. Within 0.3 of it: ours {100 * (abs(first - plain) <= 0.3).mean():.0f} %, dynesty "
        f"{100 * (abs(dynesty - plain) <= 0.3).mean():.0f} %."
    )
    known = [r for r in nested if r.get("prior")]
    if known:
        ours, theirs, exact, error = (
            np.array([float(r[k]) for r in known]) for k in ("ours", "dynesty", "prior", "prior_error")
        )
        text.append(
            f"- Against {outside.PRIOR_DRAWS:,} draws of the prior, where so many tell ({len(known)} evidences on gauges "
            f"and vent, errors up to {error.max():.2f}): ours less that {np.median(ours - exact):+.2f} in the median, "
            f"within 0.3 in {(abs(ours - exact) <= 0.3).sum()}, largest size {abs(ours - exact).max():.2f}; dynesty less "
            f"that {np.median(theirs - exact):+.2f}, {(abs(theirs - exact) <= 0.3).sum()}, "
            f"{abs(theirs - exact).max():.2f}."
        )
    longer = [r for r in nested if r.get("dynesty_long")]
    if longer:
        ours, again, once = (np.array([float(r[k]) for r in longer]) for k in ("ours", "dynesty_long", "dynesty"))
        text.append(
            f"- Dynesty once more in these, with {outside.MORE} times the live points and slices: ours less that "
            f"{np.median(ours - again):+.2f} in the median, within 0.3 in {(abs(ours - again) <= 0.3).sum()} of "
            f"{len(longer)}, largest size {abs(ours - again).max():.2f}; that less its first run "
            f"{np.median(again - once):+.2f}, largest size {abs(again - once).max():.2f}."
        )
    shift = np.array([abs(float(r["median_shift"])) for r in nested if r.get("median_shift")])
    if len(shift):
        text.append(
            f"- Severity medians within a fifth of the 90 % interval: {100 * (shift <= 0.2).mean():.0f} % of "
            f"{len(shift)} ({met(bool((shift <= 0.2).all()))} for all); largest shift {shift.max():.2f} of it."
        )
    ours, other = (np.median([float(r[k]) for r in nested]) for k in ("ours_seconds", "dynesty_seconds"))
    text.append(f"- Median seconds for one evidence on one core: ours {ours:.2f}, dynesty {other:.0f}.")
    shown = (
        "index",
        "set",
        "truth",
        "hypothesis",
        "ours",
        "ours_scatter",
        "dynesty",
        "dynesty_error",
        "importance",
        "importance_error",
        "difference",
    )
    text += _head(*(k.replace("_", " ") for k in shown), "prior's draws", "median shift")
    text += [_line(*(r[k] for k in shown), r.get("prior") or "-", r.get("median_shift") or "-") for r in nested]
    return [*text, ""]


def _detection(title: str, given: Sequence[Row]) -> list[str]:
    vehicles = len({r.get("id") or r["index"] for r in given})
    text = [
        f"## {title}, {vehicles} vehicles",
        "",
        "The answer is the first cause, healthy among them. Percent of faulty vehicles whose cooling "
        "is down by more than the share given. Two: the truth is among the two most probable causes.",
        *_head("set", "cooling down", "n", "correct", "two", "missed", "misdiagnosis", "no response"),
    ]
    for name in SETS:
        mine = [r for r in given if r["set"] == name and r["truth"] != "healthy"]
        for least, label in ((-9.0, "any fault"), *detection.EFFECTS):
            hurt = [r for r in mine if least < 0.0 or 1.0 - float(r["capacity"]) > least]
            s = detection.shares(hurt)
            values = (s["n"], s["correct"], detection.top_two(hurt), s["missed"], s["misdiagnosis"], s["no response"])
            text.append(_line(name, label, *(f"{v:.0f}" for v in values)))
    scale = "scale: severe, moderate right; false alarm"
    text += _head("set", "healthy, n", "false alarm, %", "no response", "called does_not_perform", scale)
    for name in SETS:
        sound = [r for r in given if r["set"] == name and r["truth"] == "healthy"]
        s = detection.shares(sound)
        worse = 100.0 * sum(r["verdict"] == "does_not_perform" for r in sound) / max(len(sound), 1)
        severe, moderate, alarm = detection.SCALE[name]
        values = (s["n"], s["false alarm"], s["no response"], worse)
        text.append(_line(name, *(f"{v:.0f}" for v in values), f"{severe}, {moderate}; {alarm}"))
    note = (
        "The scale is a classifier trained on vehicles of other physics, as this project's task states it; it does "
        "not say where its severe and moderate begin."
    )
    return [*text, "", note, "", *_by_fault(given)]


def _side_by_side(other: Sequence[Row], trained: Sequence[Row]) -> list[str]:
    """The engine beside the classifier on the same vehicles."""
    seen = {r["id"] for r in other}
    trained = [r for r in trained if r["id"] in seen]
    text = [
        f"## The engine beside that classifier, {len(seen)} vehicles",
        "",
        "The classifier was trained on the simulator that made these; the engine knows none of it. "
        "What the classifier cannot tell is hard to read from such sheets at all. Their mix: the engine's evidence with that "
        "population's mix of faults (about as many of each) in place of our prior weights, which the classifier has learnt.",
        *_head("set", "cooling down", "n", *(f"{what}: {who}" for what in ("right", "missed") for who in WHO)),
    ]
    alarms = []
    compared = (other, detection.as_mixed(other), trained)
    for name in SETS:
        for least, label in ((-9.0, "any fault"), *detection.EFFECTS):
            hurt = [
                [
                    r
                    for r in given
                    if r["set"] == name and r["truth"] != "healthy" and 1.0 - float(r["capacity"]) > least
                ]
                for given in compared
            ]
            told = [detection.shares(x) for x in hurt]
            values = (told[0]["n"], *(s[k] for k in ("correct", "missed") for s in told))
            text.append(_line(name, label, *(f"{v:.0f}" for v in values)))
        sound = [[r for r in g if r["set"] == name and r["truth"] == "healthy"] for g in compared]
        told = [detection.shares(x) for x in sound]
        alarms.append(_line(name, f"{told[0]['n']:.0f}", *(f"{s['false alarm']:.0f}" for s in told)))
    return [*text, *_head("set", "healthy, n", *(f"false alarm: {who}" for who in WHO)), *alarms, ""]


def _by_fault(given: Sequence[Row]) -> list[str]:
    """With everything read: each fault's outcomes and what it was taken for."""
    mine = [r for r in given if r["set"] == SETS[2]]
    text = ["With everything read, by fault:", *_head("fault", "n", "correct", "missed", "taken for")]
    for fault in sorted({r["truth"] for r in mine}):
        cases = [r for r in mine if r["truth"] == fault]
        s = detection.shares(cases)
        wrong = Counter(a for r in cases if (a := detection.named(r)) not in (fault, "healthy", None))
        others = ", ".join(f"{k} {v}" for k, v in wrong.most_common(4))
        text.append(_line(fault, *(f"{s[k]:.0f}" for k in ("n", "correct", "missed")), others or "-"))
    return [*text, ""]
