"""Outputs spoilt in every place, and outputs that claim more than they show: what schemas must refuse."""
import copy

# Keys that an output may leave out, wherever they stand.
OPTIONAL = set("""causes closing to_the_end told_apart no_cause missing state states purpose stamps between_rpm
asked remark switch_from_ns switch_to_ns speed from_speed anchor buttons power_up supply drive resolution_rpm
boundary lowest_rpm highest_rpm lasts_s levels sits file accepted lamp colour to with window
channels from_rpm to_rpm by_rpm rpm hz duty pulses_per_rev ms share per_min at_s by_ms level shown
rpm_per_v at_v expanded_uncertainty expanded_uncertainty_rpm expanded_uncertainty_hz
expanded_uncertainty_ms expanded_uncertainty_rpm_per_v scenario why smallest_caught same_as
speed_kmh speed_expanded_uncertainty_kmh source anchor_rpm limit_kmh margin_kmh written offset_rpm
offset_written for_s found windows swapped inverted troubles simulated unit recording certificate""".split())
# Where one object may leave such a key out and another may not, its name is too wide to be tried: these objects name
# what is really theirs to leave out.
LEFT_OUT_BY = {"boundaries": {"state", "between_rpm", "why"}, "transitions": {"state", "between_rpm", "asked", "remark",
               "speed_kmh", "speed_expanded_uncertainty_kmh"}, "findings": set(), "runs": OPTIONAL, "drifts": set(),
               "spreads": set(), "lines": set(), "curve": set(), "thresholds": set(), "files": set(), "errors": set()}
# Objects whose keys are the user's own.
OPEN = {"tyre", "findings", "sha256"}
# Keys whose text is a word of ours.
WORDS = set("verdict direction sits does outcome word time_by said_in sound_unit active purpose".split())


def pruned(value):
    """One item of each shape in every list: small, and with all keys."""
    if isinstance(value, dict):
        return {key: pruned(item) for key, item in value.items()}
    if not isinstance(value, list):
        return value
    kept = {}
    for item in value:
        shape = (type(item).__name__, str(sorted(item)), item.get("verdict"), item.get("word")) \
            if isinstance(item, dict) else repr(item)
        kept.setdefault(shape, item)
    return [pruned(item) for item in list(kept.values())[:40]]


def places(value, path=()):
    yield path, value
    for key, item in value.items() if isinstance(value, dict) else enumerate(value) if isinstance(value, list) else ():
        yield from places(item, path + (key,))


def spoilings(value, path, item):
    """(what is done to one place, how): None adds a key, a text takes that key away, else it is called with what holds
    the place."""
    names = tuple(key for key in path if isinstance(key, str))
    inside, title = names[-1] if names else "", "/".join(names)

    def put(other):
        return lambda holder: holder.__setitem__(path[-1], other)

    if isinstance(item, dict) and inside not in OPEN:
        yield "with one key more at " + title, None
        may = LEFT_OUT_BY.get(inside, OPTIONAL) if path and isinstance(path[-1], int) else OPTIONAL
        for key in sorted(set(item) - may):
            yield f"without {title}/{key}", key
    if path and not isinstance(item, dict):
        yield "with an object for " + title, put({"no": "such thing"})
        if isinstance(item, (int, float)) and not isinstance(item, bool):
            yield "with a text for " + title, put(str(item))
        if isinstance(item, str) and (inside in WORDS or inside == "kind" and "files" not in value):
            yield "with a word that is not ours for " + title, put("green")


def spoilt(value, seen):
    """(what was done, the value so spoilt); what is in `seen` is not done again."""
    for path, item in places(value):
        for what, how in spoilings(value, path, item):
            if what in seen:
                continue
            seen.add(what)
            other = copy.deepcopy(value)
            holder = target = other
            for key in path:
                holder, target = target, target[key]
            if isinstance(how, str):
                del target[how]
            elif how is None:
                target["surplus"] = 1
            else:
                how(holder)
            yield what, other


def lies(printed):
    """(schema, what was done, a value that claims more than it shows)."""
    def first(schema, wanted):
        return copy.deepcopy(next(v for s, _, v in printed if s == schema and wanted(v)))

    stopped = first("result", lambda v: not v["complete"])
    stopped["verdict"] = "pass"
    yield "result", "a run that was cut short passes", stopped
    for verdict in ("fail", "undecided"):
        passed = first("result", lambda v: v["verdict"] == "pass" and v["boundaries"])
        passed["boundaries"][0]["verdict"] = verdict
        yield "result", f"a pass with a threshold that is {verdict}", passed
    failed = first("result", lambda v: v.get("causes"))
    failed["verdict"] = "pass"
    yield "result", "a pass with a cause", failed
    found = first("result", lambda v: "purpose" in v)
    found["verdict"] = "pass"
    yield "result", "a survey of an unknown unit passes", found
    job = first("job-result", lambda v: v["verdict"] != "pass")
    job["verdict"] = "pass"
    yield "job-result", "a job passes with a part that does not", job
    job["runs"] = []
    yield "job-result", "a job passes that played nothing", job
    checked = first("verification", lambda v: v["outcome"] == "not-verified")
    for outcome in ("verified", "cannot-be-verified"):
        yield "verification", f"what differs is {outcome}", {**checked, "outcome": outcome}
    moved = first("comparison", lambda v: v["verdict"] == "fail")
    yield "comparison", "a pass with a change that was not meant", {**moved, "verdict": "pass"}
    lamps = first("rig", lambda v: v["verdict"] == "fail")
    yield "rig", "a rig passes with a dark lamp", {**lamps, "verdict": "pass"}
    yield "rig", "a rig passes with a trouble", {"verdict": "pass", "troubles": ["the board is gone"]}
    grade = first("grade", lambda v: v["caught"])
    next(fault for fault in grade["list"] if fault["verdict"] == "fail")["at_s"] = None
    yield "grade", "a fault is caught at no time", grade
    known = first("history", lambda v: any(not run["complete"] for run in v["runs"]))
    next(run for run in known["runs"] if not run["complete"])["verdict"] = "pass"
    yield "history", "a run in the history that was cut short passes", known
    same = first("settings-diff", lambda v: not v["same"])
    yield "settings-diff", "nothing differs, in some sentences", {**same, "same": True}


def refusals(o):
    """How many spoilt outputs were tried; what was accepted goes to o.wrong."""
    count, seen = 0, {}
    for schema, title, value in o.printed:
        small = pruned(value)
        if o.validators.refusal(schema, small):
            small = value
        for what, other in spoilt(small, seen.setdefault(schema, set())):
            count += 1
            if not o.validators.refusal(schema, other):
                o.wrong.append(f"{schema}.schema.json accepts the output of '{title}' {what}")
    for schema, what, value in lies(o.printed):
        count += 1
        if not o.validators.refusal(schema, value):
            o.wrong.append(f"{schema}.schema.json accepts this: {what}")
    return count
