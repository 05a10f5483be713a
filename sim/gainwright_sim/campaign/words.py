"""The report of a campaign in words and tables, 80 columns wide."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from gainwright_sim.campaign.report import QUANTILES, FamilyReport, rate_bound
from gainwright_sim.campaign.run import AxisResult
from gainwright_sim.rehearsal.outcome import OUTCOMES
from gainwright_sim.rehearsal.words import headline

WORST = 5
"""Axes outside the numbers that are listed for each family."""
_HEAD = (
    f"{'family':<10}{'axes':>6}{'no result':>11}{'limit / exact':>20}{'largest':>11}{'oscil-':>10}"
    f"{'time':>8}",
    f"{'':<10}{'':>6}{'':>11}{'1 %   50 %   99 %':>20}{'result /':>11}{'lation':>10}{'[s]':>8}",
    f"{'':<10}{'':>6}{'':>11}{'':>20}{'exact':>11}{'99 %':>10}{'50 %':>8}",
)


def report_lines(reports: Sequence[FamilyReport], trial_option: str = "") -> Iterator[str]:
    """Yield the lines: what is wrong first, then the table, then each family by itself.

    Args:
        reports: one per family.
        trial_option: to be repeated in the lines that replay an axis; empty for the default trial.
    """
    wrong = [result for report in reports for result in report.wrong]
    count = sum(report.count for report in reports)
    if wrong:
        yield f"WRONG on {len(wrong)} of {count} axes:"
        for result in wrong:
            yield f"  {_axis(result)}"
            yield f"    {replay_line(result, trial_option)}"
        yield ""
    yield from _HEAD
    for report in reports:
        yield _row(report)
    yield ""
    yield from _prediction_table(reports)
    yield (
        f"Wrongly verified: {len(wrong)} of {count} axes, a rate below "
        f"{rate_bound(len(wrong), count):.2%} (95 % confidence)."
    )
    for report in reports:
        yield ""
        yield from _family_lines(report, trial_option)


def replay_line(result: AxisResult, trial_option: str = "") -> str:
    """Return the command that rehearses an axis again."""
    return f"gainwright rehearse {result.replay}{trial_option}"


def _row(report: FamilyReport) -> str:
    limits = " ".join(_at(report.limit_share, q, 3) for q in (1, 50, 99))
    return (
        f"{report.family:<10}{report.count:>6}{report.no_result_share:>11.1%}{limits:>20}"
        f"{_at(report.result_share, 100, 3):>11}{_at(report.oscillation_of_limit, 99, 3):>10}"
        f"{_at(report.machine_time_s, 50, 1):>8}"
    )


def _prediction_table(reports: Sequence[FamilyReport]) -> Iterator[str]:
    if not any(report.agreed_share > 0.0 for report in reports):
        return
    yield f"{'family':<10}{'predictions agreed':>20}{'predicted / exact limit':>28}"
    yield f"{'':<10}{'':>20}{'1 %   50 %   99 %':>28}"
    for report in reports:
        shares = " ".join(_at(report.predicted_share, q, 3) for q in (1, 50, 99))
        yield f"{report.family:<10}{report.agreed_share:>20.1%}{shares:>28}"
    yield ""


def _at(values: tuple[float, ...], quantile: int, digits: int) -> str:
    return f"{values[QUANTILES.index(quantile)]:.{digits}f}" if values else "-"


def _family_lines(report: FamilyReport, trial_option: str) -> Iterator[str]:
    yield f"{report.family}, {report.count} axes"
    for key, reasons in report.outcomes.items():
        yield f"  {sum(reasons.values()):>5}  {headline(key).split(':')[0]}"
        if not OUTCOMES[key].has_result:
            for reason, count in reasons.items():
                yield f"  {'':>5}  {count:>5}  {reason}"
    for goal in report.goals:
        if not goal.met:
            yield f"  NOT MET: {goal.what}"
            yield f"           wanted {goal.wanted}, reached {goal.reached}"
    for result in report.outside[:WORST]:
        yield f"  {_axis(result)}"
        yield f"    {replay_line(result, trial_option)}"
    if len(report.outside) > WORST:
        yield f"  and {len(report.outside) - WORST} more axes outside the numbers"


def _axis(result: AxisResult) -> str:
    words = OUTCOMES[result.outcome].words if result.wrong else _reason(result)
    shares = [
        f"{name} / exact {share:.3f}"
        for name, share in (("limit", result.limit_share), ("result", result.result_share))
        if share is not None
    ]
    if result.oscillation_of_limit is not None:
        shares.append(f"oscillation {result.oscillation_of_limit:.3f}")
    details = f"\n      {', '.join(shares)}" if shares else ""
    return f"{result.family} axis {result.axis_seed}: {words}{details}"


def _reason(result: AxisResult) -> str:
    key = result.outcome.replace("_", " ")
    return key if OUTCOMES[result.outcome].has_result else f"{key}: {result.reason}"
