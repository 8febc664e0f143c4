"""The prior: every unknown inside its datum, doubt a mixture, the same seed the same draws."""

import pickle

import numpy as np
import pytest

import proofpatch as pp
from proofpatch.learn.assumptions import assumptions
from proofpatch.learn.belief import Recalled
from proofpatch.learn.unknowns import latents
from proofpatch.materials import coating_data, coating_ids, substrate_data, substrate_ids
from proofpatch.physics import rows as at
from proofpatch.sources import STATUS, sources


def quantiles(values):
    return np.quantile(values, [0.05, 0.5, 0.95])


@pytest.mark.parametrize(
    ("column", "name"),
    [
        (at.THICKNESS, "thickness"),
        (at.ABSORPTION, "absorption"),
        (at.THRESHOLD, "threshold_fluence"),
        (at.DEPTH, "removal_depth"),
        (at.BOND, "bond_energy"),
    ],
)
def test_prior_keeps_the_published_value_and_range(varnished_oak, column, name):
    belief = pp.prior(varnished_oak, "pulsed-500", draws=4096)
    datum = coating_data("oil-varnish", "clear", "aged")[name]
    low, middle, high = quantiles(belief.layer[:, 0, column])
    assert middle == pytest.approx(datum.value, rel=0.06)
    assert low == pytest.approx(datum.low, rel=0.12)
    assert high == pytest.approx(datum.high, rel=0.12)


def test_prior_keeps_the_substrate_range(varnished_oak):
    belief = pp.prior(varnished_oak, "pulsed-500", draws=4096)
    datum = substrate_data("oak", "aged")["absorptance"]
    low, middle, high = quantiles(belief.substrate[:, at.ABSORPTANCE])
    assert (low, middle, high) == pytest.approx((datum.low, datum.value, datum.high), rel=0.06)


def test_a_film_that_takes_less_light_has_a_higher_threshold(varnished_oak):
    belief = pp.prior(varnished_oak, "pulsed-500", draws=2048)
    film = np.log(belief.layer[:, 0, [at.ABSORPTION, at.THRESHOLD]])
    assert np.corrcoef(film.T)[0, 1] < -0.6


def test_a_clear_film_without_measured_class_cannot_be_ablated():
    belief = pp.prior(pp.Surface([pp.Layer("waterborne-clear", condition="fresh")], "oak"), "pulsed-500")
    # 25 mJ in 0.9 mm is 3.9 J/cm²; thermal-optical.md §5.2: a clean clear coat cannot be evaporated directly.
    assert np.quantile(belief.layer[:, 0, at.THRESHOLD], 0.05) > 3.9e4


def test_doubt_is_a_mixture():
    belief = pp.prior(pp.Surface([pp.Layer({"shellac": 0.7, "oil-varnish": 0.3})], "oak"), "pulsed-500")
    shares = {}
    for stack, p in belief.component_shares().items():
        shares[stack[0][0]] = shares.get(stack[0][0], 0) + p
    assert shares["shellac"] == pytest.approx(0.7, abs=0.02)
    assert len(belief.component_shares()) > 6  # conditions of film and of wood are open too


def test_measured_thickness_is_believed(varnished_oak):
    belief = pp.prior(pp.Surface([pp.Layer("oil-varnish", thickness=40e-6, condition="aged")], "oak"), "pulsed-500")
    low, middle, high = quantiles(belief.layer[:, 0, at.THICKNESS])
    assert 33e-6 < low < middle < high < 48e-6


def test_same_seed_same_draws(varnished_oak):
    a, b, c = (pp.prior(varnished_oak, "pulsed-500", seed=s) for s in (5, 5, 6))
    assert np.array_equal(a.layer, b.layer)
    assert not np.array_equal(a.layer, c.layer)


def test_beliefs_can_be_compared_kept_and_read_back(varnished_oak, at_work):
    a, b = (pp.prior(varnished_oak, "pulsed-500", seed=5, draws=64) for _ in range(2))
    assert a == b
    assert hash(a) == hash(b)
    assert a != pp.update(a, pp.Graded(at_work(), "clean", "none"))
    back = pickle.loads(pickle.dumps(a))
    assert back == a
    assert np.array_equal(back.layer, a.layer)
    assert pp.forecast(a, settings=[at_work()]) == pp.forecast(back, settings=[at_work()])
    assert pp.recipe(a, pp.Limits()) == pp.recipe(back, pp.Limits())


def test_belief_cannot_be_changed(oak_belief):
    with pytest.raises(ValueError, match="read-only"):
        oak_belief.layer[0, 0, 0] = 1.0


@pytest.mark.parametrize("coating", coating_ids())
def test_every_coating_can_be_believed(coating):
    for substrate in ("oak", "mild-steel", "fired-brick"):
        belief = pp.prior(pp.Surface([coating], substrate), "pulsed-300", draws=64)
        assert np.isfinite(belief.layer).all()
        assert (belief.layer[:, 0, at.THICKNESS] > 0).all()


@pytest.mark.parametrize("substrate", substrate_ids())
def test_every_substrate_can_be_believed(substrate):
    belief = pp.prior(pp.Surface(["oil-varnish"], substrate), "pulsed-100", draws=64)
    assert np.isfinite(belief.substrate).all()
    assert (belief.substrate[:, at.ABSORPTANCE] > 0).all()


def test_every_assumption_says_where_it_comes_from():
    for name, datum in assumptions().items():
        assert datum.status in STATUS, name
        assert datum.source in sources(), name
        assert datum.locator, name


def test_every_datum_behind_a_belief_is_listed(oak_belief):
    assert {d.unit for d in oak_belief.data} >= {"m", "J/m²", "kg/m³"}
    assert len(latents(oak_belief.surface).data) == len(oak_belief.data)


def test_memory_of_earlier_patches_sharpens(varnished_oak, at_work):
    earlier = [pp.Graded(at_work(), "partial", "none"), pp.Graded(at_work(passes=8), "clean", "none")]
    plain = pp.prior(varnished_oak, "pulsed-500", draws=512)
    taught = pp.prior(varnished_oak, "pulsed-500", memory=earlier, draws=512)
    column = np.log(plain.layer[:, 0, at.THRESHOLD]).std(), np.log(taught.layer[:, 0, at.THRESHOLD]).std()
    assert column[1] < column[0]


@pytest.mark.parametrize(
    ("build", "field"),
    [
        (lambda: pp.Layer("no such coat"), "coating"),
        (lambda: pp.Layer({"shellac": 0.5}), "coating"),
        (lambda: pp.Layer({"shellac": float("nan")}), "coating"),
        (lambda: pp.Layer("shellac", thickness=-1e-6), "thickness"),
        (lambda: pp.Layer("shellac", thickness=5e-324), "thickness"),
        (lambda: pp.Layer("shellac", colour="white"), "colour"),
        (lambda: pp.Layer("shellac", condition="rusty"), "condition"),
        (lambda: pp.Surface([], "oak"), "layers"),
        (lambda: pp.Surface(["wax"] * 9, "oak"), "layers"),
        (lambda: pp.Surface(["wax"], "kryptonite"), "substrate"),
        (lambda: pp.Surface(["wax"], "oak", moisture=float("inf")), "moisture"),
        (lambda: pp.prior(pp.Surface(["wax"], "oak"), "no such laser"), "laser"),
        (lambda: pp.prior("oak", "pulsed-500"), "surface"),
        (lambda: pp.prior(pp.Surface(["wax"], "oak"), "pulsed-500", seed=-1), "seed"),
    ],
)
def test_bad_input_is_one_sentence_at_its_field(build, field):
    with pytest.raises(pp.InputError) as caught:
        build()
    assert caught.value.field == field
    assert len(str(caught.value)) < 400


def _recalled(surface, mean, root):
    """The same of every component."""
    table = latents(surface)
    n = len(table.weights)
    return Recalled(np.tile(mean, (n, 1)), np.tile(root, (n, 1, 1)), f"{mean.sum():.3f} {root.sum():.3f}")


def test_nothing_recalled_is_the_prior_itself(varnished_oak):
    unknowns = len(latents(varnished_oak).names)
    same = pp.prior(varnished_oak, "pulsed-500", memory=_recalled(varnished_oak, np.zeros(unknowns), np.eye(unknowns)))
    assert np.array_equal(same.layer, pp.prior(varnished_oak, "pulsed-500").layer)


def test_a_memory_of_another_surface_is_refused(varnished_oak):
    other = pp.Surface([pp.Layer("wax"), pp.Layer("oil-varnish")], "oak")
    n = len(latents(other).names)
    with pytest.raises(pp.InputError, match="another surface"):
        pp.prior(varnished_oak, "pulsed-500", memory=_recalled(other, np.zeros(n), np.eye(n)))


def test_an_update_from_a_memory_is_bayes_rule(varnished_oak):
    # Against importance weighting (Robert & Casella, Monte Carlo Statistical Methods, 2004, ch. 3, from memory): the
    # draws of a plain update, weighed by the ratio of the two priors.
    table, unknowns = latents(varnished_oak), len(latents(varnished_oak).names)
    mean, scale = np.zeros(unknowns), np.ones(unknowns)
    places = [table.names.index(("layer 0", name)) for name in ("threshold_fluence", "thickness")]
    mean[places], scale[places] = (0.5, -0.4), (0.8, 0.7)
    graded = pp.Graded(pp.Setting(250.0, 30e3, 100e-9, 0.3e-3, 0.05, 8.0, 0.02), "partial", "none")
    found = pp.update(
        pp.prior(varnished_oak, "pulsed-500", memory=_recalled(varnished_oak, mean, np.diag(scale)), draws=8192), graded
    )
    plain = pp.update(pp.prior(varnished_oak, "pulsed-500", draws=8192), graded)
    ratio = 0.5 * plain.z**2 - 0.5 * ((plain.z - mean) / scale) ** 2
    weight = np.exp(ratio.sum(axis=1))
    weight /= weight.sum()
    normals = mean + scale * found.z
    for place in places:
        expected = weight @ plain.z[:, place]
        sd = np.sqrt(weight @ (plain.z[:, place] - expected) ** 2)
        assert normals[:, place].mean() == pytest.approx(expected, abs=0.1 * sd)
        assert normals[:, place].std() == pytest.approx(sd, rel=0.1)
    assert found.recalled is not None
    assert found != plain
