"""The training code, where PyTorch is at hand: labels, placing, folding."""

from __future__ import annotations

import numpy as np
import pytest

torch = pytest.importorskip("torch")

from models.training import alter, lens, scene, shape, targets, views  # noqa: E402
from models.training.animals import CUTOUT_HEIGHT, CUTOUT_WIDTH  # noqa: E402
from models.training.architecture import INPUT_HEIGHT, INPUT_WIDTH, OUTPUT_STRIDE  # noqa: E402
from models.training.average import average  # noqa: E402
from models.training.dataset import is_copy, looks  # noqa: E402
from models.training.network import CowMaps  # noqa: E402
from models.training.render import HEIGHT, WIDTH, coverage_box  # noqa: E402
from models.training.rig_film import Camera, top_line  # noqa: E402
from models.training.train import rate_at  # noqa: E402
from models.training.unfold import unfold  # noqa: E402


def test_a_hill_stands_on_the_cell_of_its_landmark():
    # Cell 10 covers input px 20 and 21, so its centre is at 20.5.
    points = torch.tensor([[[20.5, 40.5]]])
    hill = targets.hills(points, 2.0)[0, 0]
    assert hill[20, 10] == pytest.approx(1.0)
    assert int(hill.argmax()) == 20 * (INPUT_WIDTH // OUTPUT_STRIDE) + 10
    # One standard deviation (2 cells) away: exp(-1/2).
    assert hill[20, 12] == pytest.approx(np.exp(-0.5), abs=1e-6)


def test_legs_that_may_be_swapped_show_half_a_hill_in_both_maps():
    points = torch.full((1, 18, 2), 100.5)
    points[0, 6] = torch.tensor([40.5, 60.5])
    points[0, 7] = torch.tensor([80.5, 60.5])
    weight = torch.ones(1, 18)
    weight[0, 6:8] = -1
    maps = targets.landmark_maps(points, weight)
    for k in (6, 7):
        assert maps[0, k, 30, 20] == pytest.approx(0.5)
        assert maps[0, k, 30, 40] == pytest.approx(0.5)
    assert maps[0, 8].max() == pytest.approx(1.0)


def test_a_point_moves_with_the_picture_it_is_in():
    torch.manual_seed(0)
    source = torch.zeros(1, 1, 384, 640)
    source[0, 0, 198:203, 318:323] = 1
    box = torch.tensor([[100.0, 100.0, 540.0, 300.0]])
    affine = scene.place(
        box,
        torch.tensor([[150.0, 90.0]]),
        torch.tensor([0.6]),
        torch.tensor([1.1]),
        torch.tensor([0.1]),
        torch.tensor([True]),
    )
    drawn = scene.sample(source, affine)[0, 0]
    expected = scene.carry(torch.tensor([[[320.0, 200.0]]]), affine)[0, 0]
    y, x = torch.meshgrid(torch.arange(INPUT_HEIGHT), torch.arange(INPUT_WIDTH), indexing="ij")
    found = torch.stack([(x * drawn).sum(), (y * drawn).sum()]) / drawn.sum()
    assert found.tolist() == pytest.approx(expected.tolist(), abs=0.1)


def test_an_affine_map_and_its_inverse_cancel():
    affine = torch.tensor([[[0.5, 0.2, 3.0], [-0.1, 0.7, 9.0]]])
    points = torch.tensor([[[10.0, 20.0], [-5.0, 3.0]]])
    back = scene.carry(scene.carry(points, affine), scene.inverse(affine))
    assert torch.allclose(back, points, atol=1e-4)


def test_folding_the_normalisation_changes_the_maps_by_rounding_only():
    torch.manual_seed(1)
    net = CowMaps().eval()
    for norm in net.norms.values():
        norm.running_mean.normal_(0, 0.1)
        norm.running_var.uniform_(0.8, 1.2)
    folded = CowMaps(folded=True).eval()
    folded.load_folded(net.fold())
    picture = torch.rand(1, 3, INPUT_HEIGHT, INPUT_WIDTH)
    with torch.no_grad():
        before, after = net(picture), folded(picture)
    assert before.std() > 0
    assert (before - after).abs().max() < 0.03 * before.abs().max()


def test_stored_weights_unfold_to_a_network_that_computes_the_same():
    torch.manual_seed(4)
    first = CowMaps().eval()
    for norm in first.norms.values():
        norm.running_mean.normal_(0, 0.2)
        norm.running_var.uniform_(0.5, 2)
        norm.weight.data.uniform_(0.5, 1.5)
        norm.bias.data.normal_(0, 0.2)
    stored = first.fold()
    folded = CowMaps(folded=True).eval()
    folded.load_folded(stored)
    pictures = torch.rand(3, 3, INPUT_HEIGHT, INPUT_WIDTH)
    again = CowMaps().eval()
    unfold(stored, [pictures[:2], pictures[2:]], again)
    with torch.no_grad():
        apart = (again(pictures) - folded(pictures)).abs().max()
        # with the normalisation of just these pictures, as in training, it hardly differs either
        learning = (again.train()(pictures) - folded(pictures)).abs().max()
    size = folded(pictures).abs().max()
    assert apart < 1e-4 * size
    assert learning < 1e-2 * size


def test_a_perfect_answer_costs_less_than_a_shifted_one():
    points = torch.rand(1, 18, 2) * 100 + 40
    right = targets.landmark_maps(points, torch.ones(1, 18))
    scenes = scene.Scenes(
        image=torch.zeros(1, 3, INPUT_HEIGHT, INPUT_WIDTH),
        points=points,
        weight=torch.ones(1, 18),
        silhouette=torch.zeros(1, 1, INPUT_HEIGHT, INPUT_WIDTH),
        boxes=torch.zeros(1, 1, 4),
        state=torch.zeros(1, 1),
    )
    wrong = right.roll(6, dims=3)
    assert targets.landmark_loss(right, scenes) == pytest.approx(0, abs=1e-9)
    assert targets.landmark_loss(wrong, scenes) > 0.001
    assert targets.identity_loss(right, scenes) < targets.identity_loss(wrong, scenes)


def test_a_mirrored_or_squeezed_copy_of_a_photo_is_recognised():
    import cv2

    rng = np.random.default_rng(3)
    photo, other = (
        cv2.resize(rng.integers(0, 255, (12, 12, 3), dtype=np.uint8), (300, 300)) for _ in "ab"
    )
    known = looks(photo)[:1]
    assert is_copy(np.ascontiguousarray(photo[:, ::-1]), known)
    assert is_copy(cv2.resize(photo, (200, 260)), known)
    assert not is_copy(other, known)


def test_a_point_moves_with_a_bent_picture():
    torch.manual_seed(1)
    points = torch.tensor([[[200.0, 150.0], [400.0, 220.0], [320.0, 190.0]]]).repeat(3, 1, 1)
    pictures = torch.zeros(3, 1, 384, 640)
    y, x = torch.meshgrid(torch.arange(384.0), torch.arange(640.0), indexing="ij")
    for place in points[0]:
        pictures[:, 0] += torch.exp(-((x - place[0]) ** 2 + (y - place[1]) ** 2) / 18)
    whole = torch.tensor([[0.0, 0.0, 639.0, 383.0]]).repeat(3, 1)
    bent, moved = alter.bend(pictures, points, whole, share=1.0)
    assert (moved - points).norm(dim=-1).max() > 3
    for picture, places in zip(bent[:, 0], moved, strict=True):
        for place in places.round().long():
            part = picture[place[1] - 8 : place[1] + 9, place[0] - 8 : place[0] + 9]
            row, column = divmod(int(part.argmax()), 17)
            assert abs(row - 8) <= 1
            assert abs(column - 8) <= 1


def test_bending_leaves_the_photo_s_edges_where_they_are():
    pictures = torch.rand(2, 3, 384, 640)
    edges = torch.tensor([[0.0, 0.0, 639.0, 383.0]]).repeat(2, 1)
    corners = torch.tensor([[[0.0, 0.0], [639.0, 383.0]]]).repeat(2, 1, 1)
    bent, moved = alter.bend(pictures, corners, edges, share=1.0)
    assert torch.allclose(bent[..., 0, :], pictures[..., 0, :], atol=1e-4)
    assert torch.allclose(moved, corners, atol=1e-3)


def test_repainting_changes_the_cow_and_nothing_else():
    torch.manual_seed(2)
    photo, cover = torch.rand(12, 3, 96, 160), torch.zeros(12, 1, 96, 160)
    cover[..., 30:70, 40:120] = 1
    altered = alter.repaint(photo, cover)
    changed = (altered - photo).abs().amax(1, keepdim=True) > 1e-6
    assert not (changed & (cover == 0)).any()
    assert changed.flatten(1).any(1).float().mean() > 0.2


def test_a_background_gets_the_colour_of_the_back():
    torch.manual_seed(2)
    behind = (
        torch.rand(2, 3, INPUT_HEIGHT, INPUT_WIDTH) * torch.tensor([0.9, 0.4])[:, None, None, None]
    )
    coat = torch.tensor([0.3, 0.2, 0.1])
    cow = torch.zeros(2, 4, INPUT_HEIGHT, INPUT_WIDTH)
    cow[:, :3, 60:120, 80:240] = coat[:, None, None]
    cow[:, 3, 60:120, 80:240] = 1
    place = torch.tensor([[160.0, 61.0], [10.0, 10.0]])
    alike = lens.like_the_back(behind, cow, place, share=1.0)
    before, after = ((b[0].mean((1, 2)) / coat - 1).abs().max() for b in (behind, alike))
    assert after < 0.35 * before
    # Where the place is not on the cow there is no colour to take.
    assert torch.equal(alike[1], behind[1])
    assert torch.equal(lens.like_the_back(behind, cow, place, share=0.0), behind)


def test_an_edge_runs_behind_some_cows_close_to_a_landmark():
    torch.manual_seed(4)
    plain = torch.full((60, 3, INPUT_HEIGHT, INPUT_WIDTH), 0.4)
    place = torch.stack([torch.full((60,), 200.0), torch.linspace(40, 150, 60)], 1)
    place[0] = torch.nan
    edged = lens.edge_beside(plain, place, share=1.0)
    step = edged[:, :, 1:, 200].diff(dim=2).abs().sum(1)[1:]
    clear = step.amax(1) > 0.1
    rows = step.argmax(1) + 1.5
    assert clear.float().mean() > 0.7
    assert ((rows - place[1:, 1]).abs() <= lens.EDGE_OFF_PX + 1.5)[clear].all()
    # All is as it was above the edge.
    assert torch.equal(edged[-1, :, :100], plain[-1, :, :100])
    assert torch.equal(lens.edge_beside(plain, place, share=0.0), plain)


def test_some_backgrounds_get_a_doorway_brighter_than_the_rest(monkeypatch):
    torch.manual_seed(3)
    dark = torch.full((40, 3, 64, 96), 30, dtype=torch.uint8)
    monkeypatch.setattr(lens, "DOORWAYS", 0.0)
    closed = (lens.backgrounds(dark, 40).amax((1, 2, 3)) < 0.2).float().mean()
    monkeypatch.setattr(lens, "DOORWAYS", 1.0)
    opened = lens.backgrounds(dark, 40)
    bright = (opened > 0.5).all(1).flatten(1).float().mean(1)
    assert closed > 0.5
    # now and then the opening lies outside the picture
    assert (bright > 0.01).float().mean() > 0.6
    assert bright.median() < 0.4


def test_the_legs_are_moved_inward_and_the_back_and_the_head_stay(monkeypatch):
    along = torch.tensor([-2.5, -2.0, 0.0, 1.7, 4.6])
    back = torch.stack([torch.zeros(5), torch.tensor([4.3, 4.4, 4.4, 4.5, 4.0]), along], 1)
    hooves = torch.tensor([[0.6, 0.0, -2.2], [0.6, 0.0, 2.1], [0.0, 0.5, 4.8]])
    spans = []
    for inward in (0.0, 0.2):
        torch.manual_seed(4)
        monkeypatch.setattr(shape, "LEGS_INWARD", (inward, inward))
        spans.append(shape.reshape(torch.cat([back, hooves])[None])[0])
    still, moved = spans
    assert torch.allclose(moved[:5], still[:5], atol=1e-5)
    assert torch.allclose(moved[7], still[7], atol=1e-5)
    closer = (moved[6, 2] - moved[5, 2]) / (still[6, 2] - still[5, 2])
    assert 0.75 < closer < 0.85


def test_the_learning_rate_falls_from_its_peak_to_the_last_one():
    assert rate_at(0.0, 0, 1e-3, 1e-4) == pytest.approx(1e-3 / 200)
    assert rate_at(0.0, 500, 1e-3, 1e-4) == pytest.approx(1e-3)
    assert rate_at(0.5, 500, 1e-3, 1e-4) == pytest.approx(5.5e-4)
    assert rate_at(1.0, 500, 1e-3, 1e-4) == pytest.approx(1e-4)


def test_a_box_fits_its_cover():
    cover = torch.zeros(1, 96, 160)
    cover[..., 30:70, 40:120] = 1
    assert coverage_box(cover)[0].tolist() == [39.5, 29.5, 119.5, 69.5]


def test_an_average_is_weighted():
    states = [({"w": torch.tensor([0.0])}, 1.0), ({"w": torch.tensor([4.0])}, 3.0)]
    assert average(states)["w"].item() == pytest.approx(3.0)


def test_a_film_shows_a_cow_in_the_middle_and_walking_where_she_heads():
    camera = Camera(
        width=640, height=480, fps=25, distance=20.0, eye=3.0, focal=1000, side=1.0, turns=False
    )
    # By hand: 1000 px at 20 units is 50 px a unit; the floor lies at 0.86 of the height.
    places = torch.tensor([[0.0, 0.0, 0.0], [0.0, 1.0, 2.0]])
    px = camera.project(places, ground=0.0, shift=0.0)
    assert px[0].tolist() == pytest.approx([320, 0.86 * 480, 20])
    assert px[1].tolist() == pytest.approx([320 - 100, 0.86 * 480 - 50, 20])


def test_the_top_line_of_a_cover_is_its_upper_edge():
    cover = np.zeros((40, 100), np.float32)
    cover[12:, 10:90] = 1
    cover[9:, 50:60] = 1
    line = np.array(top_line(cover, np.array([[80.0, 20.0], [20.0, 20.0]])))
    assert line[[0, -1], 0].tolist() == [80.0, 20.0]
    assert set(line[:, 1]) == {11.5, 8.5}


def test_a_frame_with_another_animal_alone_holds_no_cow():
    torch.manual_seed(3)
    cows = scene.pyramid(torch.rand(2, 4, HEIGHT, WIDTH))
    boxes = torch.tensor([[100.0, 80.0, 500.0, 320.0]] * 2)
    animal = torch.ones(1, 4, CUTOUT_HEIGHT, CUTOUT_WIDTH)
    behind = torch.full((24, 3, INPUT_HEIGHT, INPUT_WIDTH), 0.5)
    shown = views.views(behind, cows, boxes, animal)
    empty = (shown.state == 0).all(1)
    assert 0 < int(empty.sum()) < 24
    # There the landmarks and the outline to be learnt are nowhere; elsewhere they are unknown.
    assert (shown.weight[empty] == 0).all()
    assert (shown.silhouette[empty] == 0).all()
    assert shown.weight[~empty].isnan().all()
    with_animal = (shown.image[empty][:, :, 6:-6] - 0.5).abs().amax((1, 2, 3)) > 0.2
    assert with_animal.any()
