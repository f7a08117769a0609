"""From what several jobs measured to one value of the shop's own, with a range that few readings make wide."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from scipy.special import stdtrit

from layerpreview.scheme.shop_values import JobMean, OwnValue
from layerpreview.units import Range

WEIGHT = 4
"""How many degrees of freedom the assumed spreads below count as, beside those of the readings: a judgement."""


@dataclass(frozen=True)
class Spreads:
    """Standard deviations of natural logarithms: from job to job, from group to group in a job, of one reading."""

    jobs: float
    groups: float
    readings: float


ASSUMED = {
    "film": Spreads(0.10, 0.10, 0.06),
    "transfer": Spreads(0.10, 0.05, 0.0),
    "drops_per_mL": Spreads(0.03, 0.03, 0.0),
}
"""What is believed of each kind before anything is read: assumed, no source."""
BOUNDS = {"film": (1.0, 1000.0), "transfer": (0.01, 1.0), "drops_per_mL": (5.0, 200.0)}


def own_value(kind: str, means: Sequence[JobMean]) -> OwnValue:
    """The value of one kind that the next job may count on, from one mean a job: likely, and a range of 90 %.

    In natural logarithms, with J jobs, K groups (coats, batches) and N readings in all: likely is the mean m of the
    jobs' means. What the next job's own mean may be away from it has the variance

        V = T (1 + 1/J) + mean(G / k) / J + mean(R / n) / J + mean(u^2)

    with T, G and R the variances from job to job (J - 1 degrees of freedom), from group to group in a job (K - J) and
    of a reading in a group (N - K), each pooled with the assumed one, which counts as `WEIGHT` degrees; k, n and u a
    job's groups, readings and what it did not measure (shared by all jobs, so it does not average out). The range is
    exp(m -+ t sqrt(V)), t the 95 % point of Student's distribution for the degrees of T, the largest and least known.

    >>> one = own_value("drops_per_mL", [JobMean(43.0, 2, 2)])
    >>> round(one.range.low, 1), one.range.likely, round(one.range.high, 1)
    (38.9, 43.0, 47.5)
    """
    usual, count = ASSUMED[kind], len(means)
    logs = [math.log(mean.likely) for mean in means]
    middle = math.fsum(logs) / count
    groups = sum(mean.groups for mean in means)
    readings = sum(mean.n for mean in means)
    jobs_square = math.fsum((log - middle) ** 2 for log in logs)
    groups_square = math.fsum((mean.groups - 1) * mean.between**2 for mean in means)
    readings_square = math.fsum((mean.n - mean.groups) * mean.within**2 for mean in means)
    from_job = _pooled(jobs_square, count - 1, usual.jobs)
    from_group = _pooled(groups_square, groups - count, usual.groups)
    of_reading = _pooled(readings_square, readings - groups, usual.readings)
    variance = (
        from_job * (1.0 + 1.0 / count)
        + from_group * math.fsum(1.0 / mean.groups for mean in means) / count**2
        + of_reading * math.fsum(1.0 / mean.n for mean in means) / count**2
        + math.fsum(mean.unsure**2 for mean in means) / count
    )
    half = math.exp(float(stdtrit(WEIGHT + count - 1, 0.95)) * math.sqrt(variance))
    least, most = BOUNDS[kind]
    likely = min(max(math.exp(middle), least), most)
    return OwnValue(Range(max(likely / half, least), likely, min(likely * half, most)), readings, count)


def _pooled(squares: float, degrees: int, assumed: float) -> float:
    """A variance: what was seen, with what is assumed."""
    return (WEIGHT * assumed**2 + squares) / (WEIGHT + degrees)


def mean_of(groups: Sequence[Sequence[float]], *, unsure: float = 0.0) -> JobMean:
    """What one job says of a value, from readings (each above zero) in groups; a group's mean counts once."""
    logs = [[math.log(value) for value in group] for group in groups]
    means = [math.fsum(group) / len(group) for group in logs]
    middle = math.fsum(means) / len(means)
    count = sum(len(group) for group in logs)
    inside = math.fsum((log - mean) ** 2 for group, mean in zip(logs, means, strict=True) for log in group)
    across = math.fsum((mean - middle) ** 2 for mean in means)
    return JobMean(
        likely=math.exp(middle),
        n=count,
        groups=len(groups),
        between=math.sqrt(across / (len(means) - 1)) if len(means) > 1 else 0.0,
        within=math.sqrt(inside / (count - len(groups))) if count > len(groups) else 0.0,
        unsure=unsure,
    )
