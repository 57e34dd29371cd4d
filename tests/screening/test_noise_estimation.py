"""The noise of a series, against series of known noise."""

import math

import numpy as np
import pytest

from loganalyze.screening import noise_estimation, spectra, unshared_noise
from loganalyze.screening.noise_estimation import noise_near

EVERY_S = 0.5


def correlated(rng, count, interval, sd, seconds):
    keep = math.exp(-interval / seconds)
    values = rng.normal(0, sd, count)
    for i in range(1, count):
        values[i] = keep * values[i - 1] + math.sqrt(1 - keep**2) * values[i]
    return values


def test_the_cosine_transform_against_its_definition():
    values = np.random.default_rng(1).normal(0, 1, 37)
    at = np.arange(37)
    by_sum = np.array([values @ np.cos(np.pi * k * (at + 0.5) / 37) for k in range(37)])
    by_sum *= math.sqrt(2 / 37)
    by_sum[0] /= math.sqrt(2)
    assert spectra.cosines(values) == pytest.approx(by_sum)
    assert spectra.from_cosines(spectra.cosines(values)) == pytest.approx(values)


@pytest.mark.parametrize(("interval", "count", "white", "step", "depth"), [
    (0.25, 2160, 0.5, 0.0, 0.0), (0.25, 160, 0.5, 0.25, 10.0), (1.0, 60, 0.8, 0.0, 5.0),
    (0.125, 4800, 0.1, 0.25, 15.0), (1.0, 120, 0.5, 1.0, 0.0)])
def test_white_noise_is_found_and_no_wander(interval, count, white, step, depth):
    rng = np.random.default_rng(7)
    time = np.arange(count) * interval
    found = []
    for _ in range(15):
        values = depth * np.sin(np.pi * time / time[-1]) + rng.normal(rng.random(), white, count)
        if step:
            values = np.round(values / step) * step
        found.append(noise_near(time, values, step))
    assert np.median([one.white for one in found]) == pytest.approx(
        math.hypot(white, step / math.sqrt(12)), rel=0.12 if count > 150 else 0.2)
    assert np.median([one.wander for one in found]) == 0
    assert all(one.samples == count for one in found if one.samples < noise_estimation.MOST)


@pytest.mark.parametrize(("interval", "count", "sd", "seconds"), [
    (1.0, 240, 0.8, 5.0), (0.25, 960, 0.8, 5.0), (0.25, 2000, 1.0, 2.0)])
def test_correlated_noise_is_told_from_white(interval, count, sd, seconds):
    rng = np.random.default_rng(8)
    time = np.arange(count) * interval
    found = [noise_near(time, correlated(rng, count, interval, sd, seconds)
                        + rng.normal(0, 0.2, count), 0.0) for _ in range(15)]
    assert np.median([one.wander for one in found]) == pytest.approx(sd, rel=0.25)
    assert np.median([one.wander_s for one in found]) == pytest.approx(seconds, rel=0.5)
    assert np.median([one.standard for one in found]) == pytest.approx(math.hypot(sd, 0.2), rel=0.2)


def test_rounding_is_the_least():
    assert noise_near(np.arange(50.0), np.full(50, 249.0), 1.0).white == pytest.approx(
        1 / math.sqrt(12))
    few = noise_near(np.arange(5.0), np.arange(5.0), 1.0)
    assert (few.white, few.wander, few.samples) == (pytest.approx(1 / math.sqrt(12)), 0, 0)
    assert noise_near(np.arange(50.0), np.full(50, np.nan)).samples == 0
    assert noise_near(np.arange(50.0), np.zeros(50)).standard == pytest.approx(0, abs=1e-12)


def test_one_outlier_is_no_noise():
    rng = np.random.default_rng(9)
    values = rng.normal(0, 0.3, 400)
    clean = noise_near(np.arange(400.0), values).standard
    values[200] += 64
    assert noise_near(np.arange(400.0), values).standard == pytest.approx(clean, rel=0.05)


def test_a_gap_parts_two_runs():
    rng = np.random.default_rng(10)
    time = np.concatenate([np.arange(100.0), 500 + np.arange(300.0)])
    values = np.concatenate([rng.normal(0, 5, 100), rng.normal(80, 0.5, 300)])
    found = noise_near(time, values)
    assert found.samples == 300
    assert found.white == pytest.approx(0.5, rel=0.15)
    lost = values.copy()
    lost[300] = np.nan
    assert noise_near(time, lost).samples == 200


def test_the_same_samples_give_the_same_answer():
    values = np.random.default_rng(11).normal(0, 1, 300)
    assert noise_near(np.arange(300.0), values) == noise_near(np.arange(300.0), values)


# Each against the definition in its docstring, by another way than the program's.


@pytest.mark.parametrize("group", [1, 3])
@pytest.mark.parametrize("keep", [0.0, 0.4, 0.8])
def test_the_spectrum_of_a_wander_is_that_of_its_covariances(keep, group):
    """Of averages of `group` samples whose covariance falls by `keep` from one to the next."""
    omega = np.array([0.05, 0.7, 2.0, 3.1])
    inside = np.arange(group)
    lags = np.arange(-300, 301)
    covariance = [np.mean(keep ** np.abs(lag * group + inside[:, None] - inside).astype(float))
                  for lag in lags]
    by_sum = np.cos(np.outer(omega, lags)) @ covariance
    assert spectra.wander(omega, keep, group) == pytest.approx(by_sum, rel=1e-9)


def test_the_spectrum_of_a_trend_is_that_of_two_summations():
    omega = np.array([0.05, 0.7, 2.0, 3.1])
    twice = np.abs(1 - np.exp(1j * omega)) ** -4
    assert spectra.trend(omega) == pytest.approx(twice)
    # Bent back, it is white far below the bend's frequency and the same far above.
    bend = 1e-4
    assert spectra.trend(np.array([1e-6]), bend) == pytest.approx([bend**-2])
    assert spectra.trend(np.array([2.0]), bend) == pytest.approx(spectra.trend(np.array([2.0])),
                                                                 rel=1e-3)


def test_bands_are_single_and_then_a_seventh_wide():
    assert spectra.bands(15).tolist() == list(range(1, 15))
    edges = spectra.bands(500)
    widths = np.diff(edges)
    assert (widths == np.maximum(edges[:-1] // 7, 1)).all()
    assert edges[-1] < 500 <= edges[-1] + edges[-1] // 7


def test_the_scatter_from_sample_to_sample():
    """Third differences of what alternates between -1 and 1 are 8; of a parabola 0."""
    alternating = np.where(np.arange(8) % 2, 1.0, -1.0)
    assert noise_estimation.noise_of(alternating) == pytest.approx(8 / 0.6745 / math.sqrt(20))
    assert noise_estimation.noise_of(alternating[:7]) == 0.0
    assert noise_estimation.noise_of(np.arange(20.0) ** 2) == pytest.approx(0.0, abs=1e-12)
    white = np.random.default_rng(3).normal(0, 0.7, 20_000)
    assert noise_estimation.noise_of(white) == pytest.approx(0.7, rel=0.03)


def test_the_longest_run_without_a_gap():
    time = np.array([0.0, 1, 2, 3.5, 5.01, 6, 7, 8, 9, 20, 21])
    values = np.zeros(11)
    # 1.5 s isn't more than 1.5 usual intervals of 1 s, 1.51 s is.
    assert noise_estimation.unbroken(time, values) == (4, 9, 1.0)
    values[6] = np.nan
    assert noise_estimation.unbroken(time, values) == (0, 4, 1.0)
    assert noise_estimation.unbroken(time, np.full(11, np.nan)) == (0, 0, 0.0)
    assert noise_estimation.unbroken(time[:1], values[:1]) == (0, 0, 0.0)
    assert noise_estimation.unbroken(time[:2], values[:2]) == (0, 2, 1.0)


SCATTERS = {
    "median": (39, np.tile([1 / 1.4826, 0.0, -1 / 1.4826], 27)),
    # More than half equal their median.
    "97 % quantile": (41, np.tile([0.0, 2.17, 0.0, -2.17], 20)),
}


@pytest.mark.parametrize("scatter", SCATTERS)
@pytest.mark.parametrize(("size", "step", "gone"), [
    (5.9, 0.0, False), (6.1, 0.0, True), (6.1, 1.0, False), (7.9, 1.0, False), (8.1, 1.0, True)])
def test_an_outlier_is_six_standard_deviations_and_two_steps_off(scatter, size, step, gone):
    """Of a scatter whose standard deviation is 1, from five neighbours whose median is 0."""
    at, values = SCATTERS[scatter][0], SCATTERS[scatter][1].copy()
    values[at] = size
    cleaned = noise_estimation.despiked(values, step)
    assert cleaned[at] == (0.0 if gone else size)
    assert (np.delete(cleaned, at) == np.delete(values, at)).all()


def fitted(values, interval=1.0, least=0.1, known=None, group=1):
    return noise_estimation.Fit.of(values, interval, least, known, group)


def likelihoods(fit, values, least):
    """The logarithm of Whittle's likelihood of each combination, its scale the most likely."""
    n = len(values)
    left = values - fit.line
    squares = [(left @ np.cos(np.pi * k * (np.arange(n) + 0.5) / n)) ** 2 * 2 / n
               for k in range(1, n)]
    omega = np.pi * np.arange(1, n) / n
    found = []
    for sizes in fit.parts.sizes:
        spectrum = 1.0 + sizes @ fit.parts.shapes(omega)
        scale = (least**2 + sum(squares / spectrum)) / (n - 1)
        found.append((scale, -0.5 * ((n - 1) * math.log(scale) + np.log(spectrum).sum())))
    return np.array(found).T


def test_parts_are_weighed_by_likelihood_and_what_was_likely_beforehand():
    values = np.random.default_rng(4).normal(0, 1, 14) + 0.02 * np.arange(14.0) ** 2
    fit = fitted(values, 0.5)
    scale, likelihood = likelihoods(fit, values, 0.1)
    assert fit.scale == pytest.approx(scale)
    prior = fit.weight / np.exp(likelihood)
    prior /= prior.sum()
    gusty = fit.parts.wanders.any(axis=1)
    moving = fit.parts.trends.any(axis=1)
    assert prior[gusty].sum() == pytest.approx(0.15)
    assert prior[~gusty & ~moving].sum() == pytest.approx(0.85 / 2)
    assert prior[~gusty & moving].sum() == pytest.approx(0.85 / 2)
    # A trend half as fast again is 0.7 times as likely.
    own = prior[~gusty & moving]
    assert own[1:] / own[:-1] == pytest.approx(0.7)


@pytest.mark.parametrize("group", [1, 2])
def test_filtered_noise_of_known_size_is_weighed_by_how_far_off_that_is(group):
    known = noise_estimation.Filtered(0.5, 3.0)
    values = np.random.default_rng(4).normal(0, 1, 14)
    fit = fitted(values, known=known, group=group)
    keep = math.exp(-1 / group / 3)  # from sample to sample, of which each value averages `group`
    scale, likelihood = likelihoods(fit, values, 0.1)
    off = np.log(scale * fit.parts.filtered / 0.5**2) / 0.4
    prior = fit.weight / np.exp(likelihood - off**2 / 2)
    prior /= prior.sum()
    gusty = fit.parts.wanders.any(axis=1)
    assert prior[gusty].sum() == pytest.approx(0.15)
    assert prior[~gusty & ~fit.parts.trends.any(axis=1)].sum() == pytest.approx(0.85 / 2)
    assert fit.parts.filtered_keep == pytest.approx(keep)
    assert fit.parts.keeps == (pytest.approx(math.exp(-1 / group / 4)),)
    assert sorted(set(fit.parts.filtered)) == [2.0**power for power in range(-2, 13)]
    beside = fit.parts.wanders.ravel() / fit.parts.filtered
    assert sorted({*beside.tolist()}) == [0.0, 0.5, 2.0, 8.0]
    assert len(fit.weight) == 15 * 4 * (1 + 7 * len(fit.parts.bends))
    # Trends go by the strength of all slow noise: white, and filtered at the lowest frequencies.
    slow = 1 + fit.parts.filtered * (1 + keep) / (1 - keep) / group
    moving = fit.parts.trends[:, 0] > 0
    corners = np.minimum(np.pi / 14 * 1.5 ** np.arange(7), np.pi)
    shares = fit.parts.trends[moving, 0] / slow[moving]
    assert sorted({*np.round(1 / shares, 6)}) == pytest.approx(
        sorted({*np.round(spectra.trend(corners), 6)}))


@pytest.mark.parametrize("group", [1, 2])
def test_which_parts_are_weighed(group):
    """Those that a series of 60 values a second apart can show."""
    fit = fitted(np.random.default_rng(5).normal(0, 1, 60), group=group)
    # A wander of more than two intervals and less than a quarter of the series.
    assert fit.parts.keeps == pytest.approx(
        [math.exp(-1 / group / seconds) for seconds in (4.0, 10.0)])
    # A trend that returns within more than two intervals and less than a third of it, or never.
    assert fit.parts.bends == pytest.approx([0.0, 1 / 12**2, 1 / 5**2])
    assert sorted({*fit.parts.wanders.ravel()}) == [0.0, 0.25, 1.0, 4.0, 16.0, 64.0, 256.0]
    assert (np.count_nonzero(fit.parts.wanders, axis=1) <= 1).all()
    # Trends as strong as white noise at one frequency, from the lowest up by half each time.
    expected = [np.pi / 60 * 1.5**power for power in range(11)]
    for column, bend in enumerate(fit.parts.bends):
        sizes = np.unique(fit.parts.trends[:, column])[1:]
        corners = np.minimum(expected, np.pi)
        assert sizes * spectra.trend(corners, bend) == pytest.approx(1.0)
    assert (np.count_nonzero(fit.parts.trends, axis=1) <= 1).all()
    assert len(fit.weight) == (1 + 3 * 11) * (1 + 6 * 2)
    assert fit.correlation_s(fit.parts.wanders[:1]) == [0.0]
    assert fit.correlation_s(np.array([[0.0, 3.0], [1.0, 0.0]])) == pytest.approx([10.0, 4.0])


@pytest.mark.parametrize(("slope", "taken_off"), [(0.9, False), (1.1, True)])
def test_a_slope_is_one_from_two_and_a_half_standard_errors_on(slope, taken_off):
    """Standard error of a slope over n samples of white noise s: s sqrt(12 / n) / n, nearly."""
    n = 400
    white = np.random.default_rng(6).normal(0, 1, n)
    at = np.arange(n) - (n - 1) / 2
    white -= at * (at @ white) / (at @ at)
    error = math.sqrt(np.mean(np.diff(white) ** 2) / 2) * math.sqrt(12 / n) / (n - 1)
    line = fitted(white + slope * 2.5 * error * at + 7).line
    assert (np.ptp(line) > 0) == taken_off
    assert line.mean() == pytest.approx(white.mean() + 7)
    if taken_off:
        assert np.diff(line) == pytest.approx(slope * 2.5 * error)


def test_beside_filtered_noise_a_slope_needs_to_be_greater():
    """Of n samples with correlation k the mean's error is that of n (1 - k) / (1 + k)."""
    n, known = 100, noise_estimation.Filtered(1.0, 5.0)
    at = np.arange(n) - (n - 1) / 2
    keep = math.exp(-1 / 5)
    error = math.sqrt((1 + keep) / (1 - keep)) * math.sqrt(12 / n) / (n - 1)
    for share, taken_off in ((0.95, False), (1.05, True)):
        line = fitted(share * 2.5 * error * at, known=known).line
        assert (np.ptp(line) > 0) == taken_off


def test_a_wander_that_stretches_have_in_common():
    rng = np.random.default_rng(12)

    def fits(sd, white=0.2):
        return [fitted(correlated(rng, 120, 1.0, sd, 4.0) + rng.normal(0, white, 120))
                for _ in range(12)]

    found, seconds = noise_estimation.shared_wander(fits(0.8), 8.0, 0.1)
    assert found == pytest.approx(0.8, rel=0.2)
    assert seconds == pytest.approx(4.0, rel=0.3)
    assert noise_estimation.shared_wander(fits(0.0), 8.0, 0.1) == (0.0, 0.0)
    few = [fitted(rng.normal(0, 1, 8)) for _ in range(3)]  # too short to show any
    assert noise_estimation.shared_wander(few, 8.0, 0.1) == (0.0, 0.0)


def climbed(seconds):
    """A climb to a level and back, 20 kt each way, and gusts of a knot on it."""
    time = np.arange(0, seconds, EVERY_S)
    away = np.maximum(0, np.maximum(60 - time, time - seconds + 60))
    return 250 - away / 3 + np.sin(time / 6)


@pytest.mark.parametrize("seconds", [2.0, 5.0, 10.0])
def test_the_noise_is_found_beside_a_second_channel_with_noise_of_its_own(seconds):
    rng = np.random.default_rng(1)
    true = climbed(900)
    standards, times, before, after = [], [], [], []
    for _ in range(24):
        own = true + correlated(rng, len(true), EVERY_S, 1.0, seconds)
        other = true + 2.0 + correlated(rng, len(true), EVERY_S, 0.4, 2.0)
        found = unshared_noise.unshared(own, other, EVERY_S)
        standards.append(found.noise.standard)
        times.append(found.noise.correlation_s)
        before.append(np.std(own - true))
        after.append(np.std(own - found.expected - true))
        # What is left is what is said to be left, and the level stays.
        assert np.hypot(found.left.standard, found.slow) == pytest.approx(after[-1], rel=0.35)
        assert abs(found.expected.mean()) < 1e-9
    assert np.mean(standards) == pytest.approx(1.0, abs=0.1)
    assert np.mean(times) == pytest.approx(seconds, rel=0.25)
    assert np.mean(after) < 0.6 * np.mean(before)


def test_the_other_channels_noise_is_not_taken_for_its_own():
    rng = np.random.default_rng(2)
    true = climbed(900)
    for white in (0.05, 0.5):
        taken = []
        for _ in range(24):
            found = unshared_noise.unshared(
                true + rng.normal(0, white, len(true)),
                true + correlated(rng, len(true), EVERY_S, 0.8, 3.0), EVERY_S)
            taken.append(found.noise.standard if found.noise else 0.0)
        assert np.mean(taken) < 0.12


def test_a_difference_in_scale_or_a_drift_is_no_noise():
    rng = np.random.default_rng(3)
    true = climbed(900)
    other = 1.01 * true + np.linspace(0, 3, len(true)) + rng.normal(0, 0.1, len(true))
    found = unshared_noise.unshared(true + rng.normal(0, 0.1, len(true)), other, EVERY_S)
    assert found.noise is None or found.noise.standard < 0.1
    slow = np.convolve(found.expected, np.full(21, 1 / 21), "valid")
    assert np.abs(slow).max() < 0.1


def test_channels_that_never_differ_have_no_noise():
    found = unshared_noise.unshared(climbed(300), climbed(300), EVERY_S)
    assert found.noise is None
    assert not found.expected.any()


def test_the_run_that_holds_a_sample():
    time = np.array([0, 1, 2, 5, 6, 7, 8, 20.0])
    values = np.array([1, 2, 3, 4, 5, np.nan, 7, 8.0])
    assert noise_estimation.unbroken(time, values)[:2] == (0, 3)
    assert [noise_estimation.unbroken(time, values, at)[:2] for at in range(8)] == [
        (0, 3), (0, 3), (0, 3), (3, 5), (3, 5), (0, 0), (6, 7), (7, 8)]


def test_what_is_left_of_slow_noise_is_slow():
    # Noise of 8 s, hidden beside the other channel's own white noise of twice its size.
    rng = np.random.default_rng(5)
    count = 600
    slow = np.zeros(count)
    for i in range(1, count):
        slow[i] = math.exp(-1 / 8) * slow[i - 1] + rng.normal(0, math.sqrt(1 - math.exp(-1 / 4)))
    true = 240 + 5 * np.sin(np.arange(count) / 60)
    found = unshared_noise.unshared(true + slow, true + rng.normal(0, 1.0, count), 1.0)
    assert found.left is not None
    assert found.left.correlation_s > 2.0
