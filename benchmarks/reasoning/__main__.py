"""`python -m benchmarks.reasoning`: one exam through the rules, beside the same rules elsewhere.

Results are compared before anything is timed. Every round measures each in turn, so that what else
the machine does falls on all alike; figures are medians of rounds. The last line is one JSON
object. The peers are installed by `script/bootstrap --bench`.
"""

import argparse
import statistics
import sys
from collections.abc import Callable, Mapping
from time import perf_counter
from typing import Any

from app.assess import judged
from app.assess.assess import assess, world_of
from app.assess.assessment import FITS
from app.assess.levels import levels
from app.exam.record import Exam
from app.knowledge.load import Knowledge, knowledge
from benchmarks.aims import aim, aim_at_least, say, say_aims, say_machine
from benchmarks.reasoning.engines import by_clips, by_json_logic, by_rule_engine, by_zen, fact_of
from benchmarks.reasoning.exams import complete_exams, recorded_one_by_one
from benchmarks.reasoning.plain import levels_in_plain_python, plain_exam

ROUNDS = 9
LEVELS_VS_PLAIN = 0.6
CLIPS_VS_LEVELS = 20
ASSESSMENT_MS = 1.0
Run = Callable[[], object]


def main() -> None:
    """Measure, print the table and the figures."""
    options = argparse.ArgumentParser(prog="python -m benchmarks.reasoning")
    options.add_argument("--short", action="store_true", help="fewer rounds")
    rounds = 5 if options.parse_args().short else ROUNDS
    known = knowledge()
    exams = complete_exams(known)
    say_machine(("clipspy", "zen-engine", "panzi-json-logic", "rule-engine"))
    engines = _engines(known)
    _compare(exams, known, engines)

    taken = _interleaved(_runs(exams, known, engines), rounds)
    for name, seconds in taken.items():
        say(f"{name:60} {1e6 * seconds:10.1f} µs an exam")
    entries = _entries(exams, known, rounds)
    say(f"{'whole assessment after an entry':60} {1e3 * entries:10.3f} ms")
    ours, plain = taken["levels, ours: three values"], taken["levels, plain Python: two values"]
    clips = taken["requirements, clipspy"]
    whole = 1e3 * taken["whole assessment, an exam not seen before"]
    aims = {
        "levels_vs_plain": aim(ours / plain, LEVELS_VS_PLAIN),
        "clips_vs_levels": aim_at_least(clips / ours, CLIPS_VS_LEVELS),
        "assessment_ms": aim(whole, ASSESSMENT_MS),
        "assessment_after_entry_ms": aim(1e3 * entries, ASSESSMENT_MS),
    }
    say_aims(aims)


def _levels(exam: Exam, known: Knowledge) -> Mapping[str, str]:
    return levels(world_of(exam, known))


def _fits(exam: Exam, known: Knowledge) -> dict[str, bool]:
    return {name: level in FITS for name, level in _levels(exam, known).items()}


def _engines(known: Knowledge) -> Mapping[str, Callable[[Any], dict[str, bool]]]:
    rules = {name: known.definitions[f"{name}_fits"].expression for name in known.categories}
    return {
        "clipspy": by_clips(rules, known),
        "zen-engine": by_zen(rules, known),
        "JSONLogic (panzi-json-logic)": by_json_logic(rules, known),
        "rule-engine": by_rule_engine(rules, known),
    }


def _compare(
    exams: list[Exam], known: Knowledge, engines: Mapping[str, Callable[[Any], dict[str, bool]]]
) -> None:
    """Every reader says the same of every exam, or there is nothing to time."""
    _, plain = levels_in_plain_python(known)
    for exam in exams:
        if plain(plain_exam(exam, known)) != _levels(exam, known):
            sys.exit("benchmarks.reasoning: plain Python gives other levels")
        for name, engine in engines.items():
            if engine(fact_of(exam)) != _fits(exam, known):
                sys.exit(f"benchmarks.reasoning: {name} gives other results")
    say(f"{len(exams)} complete exams, {len(known.categories)} rules: all results agree")


def _runs(
    exams: list[Exam], known: Knowledge, engines: Mapping[str, Callable[[Any], dict[str, bool]]]
) -> dict[str, Run]:
    text, plain = levels_in_plain_python(known)
    say(f"plain Python: {len(text.splitlines())} lines")
    plains = [plain_exam(exam, known) for exam in exams]
    facts = [fact_of(exam) for exam in exams]

    def whole() -> None:
        for exam in exams:
            judged.forget()
            assess(exam, known)

    runs: dict[str, Run] = {
        "levels, ours: three values": lambda: [_levels(exam, known) for exam in exams],
        "levels, plain Python: two values": lambda: [plain(each) for each in plains],
        "whole assessment, an exam not seen before": whole,
    }
    for name, engine in engines.items():
        runs[f"requirements, {name}"] = _all_facts(engine, facts)
    return runs


def _all_facts(engine: Callable[[Any], dict[str, bool]], facts: list[Any]) -> Run:
    return lambda: [engine(fact) for fact in facts]


def _interleaved(runs: Mapping[str, Run], rounds: int) -> dict[str, float]:
    """Median seconds an exam of each."""
    taken: dict[str, list[float]] = {name: [] for name in runs}
    for run in runs.values():
        run()
    for _ in range(rounds):
        for name, run in runs.items():
            start, times = perf_counter(), 0
            while times < 3 or perf_counter() - start < 0.1:
                run()
                times += 1
            taken[name].append((perf_counter() - start) / times)
    count = len(complete_exams(knowledge()))
    return {name: statistics.median(each) / count for name, each in taken.items()}


def _entries(exams: list[Exam], known: Knowledge, rounds: int) -> float:
    """Median seconds of an assessment after one more entry, over whole exams being recorded."""
    taken = []
    for number in range(min(rounds, len(exams))):
        judged.forget()
        for exam in recorded_one_by_one(exams[-1 - number * len(exams) // rounds]):
            start = perf_counter()
            assess(exam, known)
            taken.append(perf_counter() - start)
    return statistics.median(taken)


if __name__ == "__main__":
    main()
