"""Fits of power against duration, against reference fitters and their own statistics."""

from __future__ import annotations

import numpy as np
import pytest
import statsmodels.api as sm
from scipy.optimize import curve_fit

from optimizer.errors import InputError
from optimizer.rider.power_duration import (
    EFFORT_NOISE,
    MODELS,
    Efforts,
    best_alone,
    bootstrap,
    choose_model,
    effort_errors,
    effort_warnings,
    fit_curve,
    mean_power,
    never_shown,
)

CP, WORK, TOP, LOSS = 262.0, 21_500.0, 980.0, 0.07
TRUTH = {
    "inverse-time": (CP, WORK, np.inf, 0.0), "work": (CP, WORK, np.inf, 0.0),
    "time": (CP, WORK, np.inf, 0.0), "three-parameter": (CP, WORK, TOP, 0.0),
    "long-assumed": (CP, WORK, np.inf, LOSS), "long": (CP, WORK, np.inf, LOSS),
    "omni": (CP, WORK, TOP, LOSS)}


def _times(model):
    if model in {"long", "long-assumed", "omni"}:
        return np.array([20.0, 60.0, 180.0, 420.0, 900.0, 1800.0, 3600.0, 7200.0, 14400.0])
    return np.array([60.0, 120.0, 180.0, 300.0, 480.0, 720.0, 1200.0])


def _noisy(model="inverse-time", error=0.015, seed=3):
    t = _times(model)
    power = mean_power(model, np.array(TRUTH[model]), t)
    rng = np.random.default_rng(seed)
    return Efforts(t, power * (1.0 + error * rng.standard_normal(len(t))))


@pytest.mark.parametrize("model", MODELS)
def test_exact_efforts_give_back_the_curve(model):
    t = _times(model)
    truth = np.array(TRUTH[model])
    curve = fit_curve(Efforts(t, mean_power(model, truth, t)), model, LOSS)
    finite = np.isfinite(truth)
    np.testing.assert_allclose(curve.parameters[finite], truth[finite], rtol=2e-6)
    np.testing.assert_allclose(curve.power(t), mean_power(model, truth, t), rtol=1e-8)


def test_inverse_time_form_agrees_with_statsmodels():
    efforts = _noisy()
    ours = fit_curve(efforts, "inverse-time")
    theirs = sm.OLS(efforts.power, sm.add_constant(1.0 / efforts.duration)).fit()
    np.testing.assert_allclose(ours.parameters[:2], theirs.params, rtol=1e-9)
    np.testing.assert_allclose(ours.standard_error()[:2], theirs.bse, rtol=1e-6)
    np.testing.assert_allclose(ours.interval()[:2], theirs.conf_int(), rtol=1e-6)


def test_work_form_agrees_with_statsmodels():
    efforts = _noisy()
    ours = fit_curve(efforts, "work")
    theirs = sm.OLS(efforts.power * efforts.duration, sm.add_constant(efforts.duration)).fit()
    np.testing.assert_allclose(ours.parameters[:2], theirs.params[::-1], rtol=1e-9)
    np.testing.assert_allclose(ours.standard_error()[:2], theirs.bse[::-1], rtol=1e-6)


@pytest.mark.parametrize("model", ["time", "three-parameter", "long", "omni"])
def test_nonlinear_forms_agree_with_scipy(model):
    efforts = _noisy(model)
    ours = fit_curve(efforts, model)
    free = {"time": [0, 1], "three-parameter": [0, 1, 2], "long": [0, 1, 3],
            "omni": [0, 1, 2, 3]}[model]
    start = np.array(TRUTH[model])

    def curve(x, *values):
        if model == "time":
            return values[1] / (x - values[0])
        whole = start.copy()
        whole[free] = values
        return mean_power(model, whole, x)

    x, y = ((efforts.power, efforts.duration) if model == "time"
            else (efforts.duration, efforts.power))
    theirs, covariance = curve_fit(curve, x, y, p0=ours.parameters[free] * 1.001,
                                   method="trf", x_scale=np.abs(start[free]), ftol=1e-14,
                                   xtol=1e-14, gtol=1e-14)
    np.testing.assert_allclose(ours.parameters[free], theirs, rtol=2e-5)
    np.testing.assert_allclose(ours.standard_error()[free], np.sqrt(np.diag(covariance)),
                               rtol=2e-3)


def test_the_three_forms_weigh_as_they_say():
    """A long effort that is too low drags "time" down most and "inverse-time" least."""
    t = np.array([180.0, 300.0, 720.0, 1500.0])
    power = CP + WORK / t
    power[-1] -= 10.0
    cp = {model: fit_curve(Efforts(t, power), model).critical_power
          for model in ("inverse-time", "work", "time")}
    assert CP > cp["inverse-time"] > cp["work"] > cp["time"]


def test_standard_errors_cover_as_often_as_they_claim():
    t = _times("inverse-time")
    rng = np.random.default_rng(11)
    held = 0
    for _ in range(400):
        power = CP + WORK / t + 5.0 * rng.standard_normal(len(t))
        low, high = fit_curve(Efforts(t, power), "inverse-time").interval()[0]
        held += low <= CP <= high
    assert 0.92 <= held / 400 <= 0.98


@pytest.mark.parametrize("model", ["inverse-time", "work", "time", "long"])
def test_bootstrap_spreads_like_the_fits_own_errors(model):
    efforts = _noisy(model)
    curve = fit_curve(efforts, model)
    draws = bootstrap(efforts, curve, 2000, 1)
    np.testing.assert_allclose(draws[:, :2].std(axis=0), curve.standard_error()[:2], rtol=0.35)
    np.testing.assert_allclose(np.median(draws[:, :2], axis=0), curve.parameters[:2], rtol=0.05)


def test_bootstrap_repeats_with_its_seed():
    efforts = _noisy()
    curve = fit_curve(efforts, "inverse-time")
    first, again = (bootstrap(efforts, curve, 50, 4) for _ in range(2))
    np.testing.assert_array_equal(first, again)
    assert np.any(first != bootstrap(efforts, curve, 50, 5))


def test_two_efforts_get_the_error_of_an_effort():
    efforts = Efforts(np.array([180.0, 720.0]), np.array([387.0, 309.0]))
    curve = fit_curve(efforts, "inverse-time")
    assert np.isnan(curve.interval()).all()
    draws = bootstrap(efforts, curve, 4000, 0)
    # CP = (720 P2 - 180 P1) / 540, each effort with its own error
    expected = EFFORT_NOISE * np.hypot(720 * 309.0, 180 * 387.0) / 540
    assert draws[:, 0].std() == pytest.approx(expected, rel=0.05)
    assert effort_errors(efforts, curve)[0] == pytest.approx(expected, rel=1e-4)


def test_information_criterion_finds_the_model_behind_the_data():
    assert choose_model(_noisy("inverse-time", 0.004)) == "inverse-time"
    t = np.array([30.0, 60.0, 120.0, 180.0, 300.0, 480.0, 720.0, 1200.0])
    rng = np.random.default_rng(0)
    power = mean_power("three-parameter", np.array(TRUTH["three-parameter"]), t)
    assert choose_model(Efforts(t, power + rng.standard_normal(len(t)))) == "three-parameter"
    hours = _noisy("long", 0.004).within(120.0)
    assert choose_model(hours, endurance_loss=0.02) == "long"


def test_criterion_is_akaike_corrected():
    """Hurvich and Tsai 1989, n/(n - k - 1) form, on the log likelihood of statsmodels."""
    efforts = _noisy()
    ours = fit_curve(efforts, "inverse-time").aicc
    theirs = sm.OLS(efforts.power, sm.add_constant(1.0 / efforts.duration)).fit()
    n, k = len(efforts), 3
    aicc = -2 * theirs.llf + 2 * k + 2 * k * (k + 1) / (n - k - 1)
    assert ours == pytest.approx(aicc - n * (np.log(2 * np.pi) + 1))


def test_too_few_efforts_choose_the_plain_model():
    few = Efforts(np.array([180.0, 720.0]), np.array([387.0, 309.0]))
    assert choose_model(few) == "inverse-time"
    assert choose_model(Efforts(np.array([300.0, 3600.0]), np.array([290.0, 225.0]))
                        ) == "long-assumed"


def test_efforts_are_sorted_and_read_only():
    efforts = Efforts(np.array([720.0, 180.0]), np.array([309.0, 387.0]), ("long", "short"))
    assert efforts.source == ("short", "long")
    assert efforts.power[0] == 387.0
    with pytest.raises(ValueError):
        efforts.power[0] = 1.0


@pytest.mark.parametrize(("t", "p", "model", "words"), [
    ([180.0], [387.0], "inverse-time", "needs 2 efforts"),
    ([180.0, 180.0], [387.0, 380.0], "inverse-time", "different duration"),
    ([180.0, 720.0], [300.0, 310.0], "inverse-time",
     r"the 3-minute effort \(300 W\) is below the 12-minute one \(310 W\)"),
    ([180.0, 200.0], [600.0, 100.0], "inverse-time", "critical power"),
    ([180.0, 300.0, 720.0], [387.0, 345.0, 309.0], "long", "half an hour"),
    ([180.0, 720.0, 3600.0], [387.0, 309.0, 330.0], "long", "loss over hours"),
])
def test_senseless_efforts_are_refused(t, p, model, words):
    with pytest.raises(InputError, match=words):
        fit_curve(Efforts(np.array(t), np.array(p)), model)


@pytest.mark.parametrize(("t", "model", "words"), [
    ([180.0, 720.0], "inverse-time", "2 efforts for 2 numbers"),
    ([300.0, 400.0, 500.0], "inverse-time", "too similar"),
    ([120.0, 300.0, 540.0], "inverse-time", "no effort lasts ten minutes"),
    ([60.0, 300.0, 900.0], "inverse-time", "under two minutes"),
    ([700.0, 1500.0, 2400.0], "long-assumed", "shorter than ten minutes"),
    ([180.0, 720.0, 3600.0], "inverse-time", "no loss over hours"),
    ([180.0, 300.0, 720.0, 1200.0], "three-parameter", "maximal power"),
])
def test_doubts_name_what_is_wrong(t, model, words):
    t = np.array(t)
    efforts = Efforts(t, CP + WORK / t - 20 * np.log(np.maximum(t, 1800) / 1800))
    told = effort_warnings(efforts, fit_curve(efforts, model))
    assert any(words in sentence for sentence in told), told


def test_good_efforts_raise_no_doubt():
    t = np.array([180.0, 420.0, 720.0, 1200.0])
    efforts = Efforts(t, CP + WORK / t)
    assert effort_warnings(efforts, fit_curve(efforts, "inverse-time")) == ()


def test_overlap_is_named():
    t = np.array([180.0, 300.0, 480.0, 720.0])
    efforts = Efforts(t, np.array([380.0, 340.0, 330.0, 300.0]), overlapping=True)
    told = " ".join(effort_warnings(efforts, fit_curve(efforts, "inverse-time")))
    assert "more could be held" in told


def test_what_is_less_than_was_held_for_longer_is_no_best_effort():
    t = np.array([60.0, 180.0, 300.0, 480.0, 720.0])
    kept, others = best_alone(Efforts(t, np.array([320.0, 380.0, 310.0, 330.0, 300.0]),
                                      ("a", "b", "c", "d", "e")))
    assert kept.duration.tolist() == [180.0, 480.0, 720.0]
    assert kept.source == ("b", "d", "e")
    assert [words.split(":")[0] for words in others] == ["320 W over 60 s", "310 W over 5 min"]
    for fine in (Efforts(t, CP + WORK / t), Efforts(t, np.full(5, 300.0)),
                 Efforts(t[:2], np.array([200.0, 250.0]))):  # of two, nobody knows which is wrong
        assert best_alone(fine) == (fine, ())


@pytest.mark.parametrize(("share", "said"), [(0.96, 0), (0.94, 1)])
def test_a_curve_well_above_all_that_was_shown_there_is_said(share, said):
    t = np.array([180.0, 420.0, 720.0, 1500.0])
    power = CP + WORK / t
    curve = fit_curve(Efforts(t, power), "inverse-time")
    power[3] *= share
    told = never_shown(Efforts(t, power), curve)
    assert len(told) == said
    if told:
        less = 0.06 * (CP + WORK / 1500)
        assert told[0].startswith(f"{power[3]:.0f} W over 25 min is {less:.0f} W below the curve")
    # Another effort of about that length, on the curve, has shown it.
    near = np.append(t, 1100.0), np.append(power, CP + WORK / 1100)
    assert never_shown(Efforts(*near), curve) == ()
