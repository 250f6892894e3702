"""How unevenly restrings come: weeks at a bench scatter more than independent beds would.

In: History, Learned, and the dates of past restrings. Out: the variance of a week's restrings over its mean (1 = as
independent beds scatter). Bench days, habits of handing in and squads that break together make weeks lumpy; the measure
is Pearson's: mean of (jobs - expected)^2 / expected over past weeks, expected from the beds' own hazards and spread
over the club's usual delay until the restring.
"""

from __future__ import annotations

import numpy as np

from pipeline.fleet.unseen import expected_at_steps
from pipeline.wear.history import History
from pipeline.wear.learning import OTHER, Learned

WEEKS = 30
PRIOR_WEEKS = 8.0
PRIOR_DISPERSION = 1.7
# beds alone scatter less than this out of sample, whatever the past weeks say (trial clubs)
MIN_DISPERSION = 1.4
MAX_DISPERSION = 4.0
LEAST_USUAL_WEEKS = 10
MOST_OF_A_WEEK = 6.0  # what one week may add to Pearson's sum; by chance alone one in seventy adds more


def expected_by_day(h: History, learned: Learned, n_days: int) -> np.ndarray:
    """(n_days,) endings of every cause expected on each of the last n_days, the newest last."""
    out = np.zeros(n_days)
    if h.n_beds == 0:
        return out
    back = h.as_of_day - h.day
    keep = np.flatnonzero((back >= 0) & (back < n_days))
    out += np.bincount(n_days - 1 - back[keep], expected_at_steps(h, learned, keep), n_days)
    # other causes: the rate on each bed's last day stands for its mean; scaled to what really happened
    ended = learned.responsibility[:, OTHER]
    end_back = h.as_of_day - h.day[h.last]
    recent = (end_back >= 0) & (end_back < n_days)
    return np.asarray(out + ended[recent].sum() / n_days)


def dispersion(
    h: History,
    learned: Learned,
    strung_days_ago: np.ndarray,
    delay_days: np.ndarray,
    is_usual: np.ndarray | None = None,
) -> float:
    """Variance over mean of weekly restrings, between MIN_DISPERSION and MAX_DISPERSION.

    strung_days_ago: (n,) whole days before the origin of past restrings. delay_days: (m,) sample of delays from the
    end of a bed to its restring. is_usual: (days,) up to and with the origin's day, oldest first, whether the bench did
    as it does on that weekday (none: it always did). Weeks with a day on which it did not, and those after, are not
    counted where there are others enough: the forecast knows of closed days, absences and full benches by themselves.
    """
    n_days = 7 * WEEKS
    daily = expected_by_day(h, learned, n_days + 28)
    longest = int(min(delay_days.max(initial=0), 21))
    kernel = np.bincount(np.clip(delay_days, 0, longest).astype(np.int64), minlength=longest + 1) / max(
        len(delay_days), 1
    )
    shifted = np.convolve(daily, kernel)[: len(daily)][-n_days:]
    expected = shifted.reshape(WEEKS, 7).sum(axis=1)
    jobs = np.bincount(
        (n_days - 1 - strung_days_ago[(strung_days_ago >= 0) & (strung_days_ago < n_days)]) // 7, minlength=WEEKS
    )
    told = np.greater(expected, 1.0)
    if told.sum() < 4:
        return PRIOR_DISPERSION
    usual = told & _usual_weeks(is_usual)
    if usual.sum() >= LEAST_USUAL_WEEKS:
        told = usual
    # the level is the forecast's own matter: compare with the mean brought to the jobs' level
    expected = expected * jobs[told].sum() / max(expected[told].sum(), 1e-9)
    # a week without a stringer, and the one that makes up for it, are not how weeks usually scatter
    chi2 = float(np.minimum((jobs - expected) ** 2 / np.maximum(expected, 1.0), MOST_OF_A_WEEK)[told].sum())
    weeks = float(told.sum())
    return float(
        np.clip((chi2 + PRIOR_WEEKS * PRIOR_DISPERSION) / (weeks + PRIOR_WEEKS), MIN_DISPERSION, MAX_DISPERSION)
    )


def _usual_weeks(is_usual: np.ndarray | None) -> np.ndarray:
    """(WEEKS,) whether neither the week nor the one before had a day out of the usual, the newest last."""
    if is_usual is None:
        return np.ones(WEEKS, dtype=bool)
    days = np.ones(7 * (WEEKS + 1), dtype=bool)
    days[-min(len(days), len(is_usual)) :] = is_usual[-len(days) :]
    count = days.reshape(WEEKS + 1, 7).sum(axis=1)
    return np.asarray((count[1:] == 7) & (count[:-1] == 7))


def lumpy(jobs: np.ndarray, spread: float, rng: np.random.Generator) -> np.ndarray:
    """(draws, weeks) factors of mean 1 that bring the weeks' scatter from that of independent beds to `spread`
    times it.
    """
    mean = np.maximum(jobs.mean(axis=0), 0.5)
    extra = max(spread - 1.0, 1e-6) / mean
    return np.asarray(rng.gamma(1.0 / extra[None, :], extra[None, :], jobs.shape))
