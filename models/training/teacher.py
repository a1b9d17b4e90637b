"""Find and outline the cow in photos with borrowed networks, as silhouettes to learn from.

A detector (NanoDet-Plus) gives the boxes, a segmenter (DeepLab v3) a coarse mask on the box
grown by 12 %, and GrabCut draws it to the colour edges. What comes out is looked at by a
person before it is used (``photos.json`` lists what was kept); see ``dataset.py``.

Run ``python -m models.training.teacher SHARED_DATA OUT_FOLDER`` from the project root.
"""

from __future__ import annotations

import json
import sys
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray

Image = NDArray[np.uint8]

DETECTOR_SIZE = (416, 416)
DETECTOR_STRIDES = (8, 16, 32, 64)
CLASSES, BINS = 80, 8
COCO_COW, VOC_COW = 19, 10
CROP_GROWTH = 0.12
GRABCUT_ROUNDS = 4
WORK_SIDE = 520
"""Photos are outlined with the crop's longer side at this many pixels."""


class Detector:
    """NanoDet-Plus on COCO, through ncnn.

    Parameters
    ----------
    folder : Path
        Holds ``coco.torchscript.ncnn.param`` and ``.bin``.
    """

    def __init__(self, folder: Path) -> None:
        import ncnn

        self._ncnn = ncnn
        self._net = ncnn.Net()
        self._net.load_param(str(folder / "coco.torchscript.ncnn.param"))
        self._net.load_model(str(folder / "coco.torchscript.ncnn.bin"))

    def find(self, image: Image, threshold: float = 0.35) -> NDArray[np.float32]:
        """Return boxes (n, 5): x0, y0, x1, y1 in px and confidence, best first."""
        h, w = image.shape[:2]
        scale = min(DETECTOR_SIZE[0] / w, DETECTOR_SIZE[1] / h)
        small = cv2.resize(image, (round(w * scale), round(h * scale)))
        canvas = np.zeros((DETECTOR_SIZE[1], DETECTOR_SIZE[0], 3), np.float32)
        canvas[: small.shape[0], : small.shape[1]] = small
        canvas = (canvas - (103.53, 116.28, 123.675)) / (57.375, 57.12, 58.395)
        planes = np.ascontiguousarray(canvas.transpose(2, 0, 1), np.float32)
        extractor = self._net.create_extractor()
        extractor.input("in0", self._ncnn.Mat(planes).clone())
        _, out = extractor.extract("out0")
        raw = np.array(out).T
        boxes, scores = self._decode(raw)
        keep = scores > threshold
        boxes, scores = boxes[keep] / scale, scores[keep]
        if not len(boxes):
            return np.zeros((0, 5), np.float32)
        xywh = np.c_[boxes[:, :2], boxes[:, 2:] - boxes[:, :2]]
        order = np.asarray(cv2.dnn.NMSBoxes(xywh.tolist(), scores.tolist(), threshold, 0.55))
        return np.c_[boxes, scores][order.reshape(-1)].astype(np.float32)

    @staticmethod
    def _decode(raw: NDArray[np.float32]) -> tuple[NDArray[np.float32], NDArray[np.float32]]:
        """Boxes and cow scores of every cell; distances are expectations over eight bins."""
        cells = []
        for stride in DETECTOR_STRIDES:
            nx, ny = (-(-side // stride) for side in DETECTOR_SIZE)
            gx, gy = np.meshgrid(np.arange(nx), np.arange(ny))
            cells.append(np.c_[gx.ravel() * stride, gy.ravel() * stride, np.full(nx * ny, stride)])
        x, y, stride_of = np.concatenate(cells).T.astype(np.float32)
        scores = 1 / (1 + np.exp(-raw[:, COCO_COW]))
        bins = raw[:, CLASSES:].reshape(-1, 4, BINS)
        bins = np.exp(bins - bins.max(-1, keepdims=True))
        away = (bins / bins.sum(-1, keepdims=True)) @ np.arange(BINS) * stride_of[:, None]
        boxes = np.stack([x - away[:, 0], y - away[:, 1], x + away[:, 2], y + away[:, 3]], 1)
        return boxes.astype(np.float32), scores


class Segmenter:
    """DeepLab v3 on PASCAL VOC, through the LiteRT interpreter.

    Parameters
    ----------
    path : Path
        The quantised ``.tflite``.
    """

    def __init__(self, path: Path) -> None:
        from ai_edge_litert.interpreter import Interpreter

        self._net = Interpreter(str(path), num_threads=1)
        self._net.allocate_tensors()
        self._input = self._net.get_input_details()[0]["index"]
        self._output = self._net.get_output_details()[0]["index"]

    def cow(self, image: Image) -> Image:
        """Return 1 where the image shows a cow, 0 elsewhere, at the image's size."""
        rgb = cv2.cvtColor(cv2.resize(image, (513, 513)), cv2.COLOR_BGR2RGB)
        self._net.set_tensor(self._input, rgb[None])
        self._net.invoke()
        labels = self._net.get_tensor(self._output)[0]
        mask = (labels == VOC_COW).astype(np.uint8)
        h, w = image.shape[:2]
        return cv2.resize(mask, (w, h), interpolation=cv2.INTER_NEAREST)


def outline(image: Image, coarse: Image, legs: list[NDArray[np.float32]] | None = None) -> Image:
    """Draw a coarse mask to the colour edges with GrabCut.

    Parameters
    ----------
    image : (h, w, 3) uint8
    coarse : (h, w) uint8
        1 on the cow.
    legs : list of (n, 2) arrays, optional
        Lines in px that are surely cow: legs through hock, fetlock and hoof.

    Returns
    -------
    (h, w) uint8
        1 on the cow, the largest piece only, holes closed.
    """
    side = max(3, round(0.012 * image.shape[1])) | 1
    sure = cv2.erode(coarse, np.ones((2 * side + 1, 2 * side + 1), np.uint8))
    near = cv2.dilate(coarse, np.ones((3 * side, 3 * side), np.uint8))
    labels = np.full(coarse.shape, cv2.GC_BGD, np.uint8)
    labels[near > 0] = cv2.GC_PR_BGD
    labels[coarse > 0] = cv2.GC_PR_FGD
    labels[sure > 0] = cv2.GC_FGD
    for line in legs or []:
        points = [np.round(line).astype(np.int32)]
        thick = max(2, round(0.02 * image.shape[1]))
        around = cv2.polylines(np.zeros_like(coarse), points, False, 1, 4 * thick)
        labels[(around > 0) & (labels == cv2.GC_BGD)] = cv2.GC_PR_BGD
        cv2.polylines(labels, points, False, cv2.GC_FGD, thick)
    background, foreground = np.zeros((1, 65)), np.zeros((1, 65))
    cv2.setRNGSeed(0)
    cv2.grabCut(image, labels, None, background, foreground, GRABCUT_ROUNDS, cv2.GC_INIT_WITH_MASK)
    return _largest(((labels == cv2.GC_FGD) | (labels == cv2.GC_PR_FGD)).astype(np.uint8))


def _largest(mask: Image) -> Image:
    mask = cv2.morphologyEx(mask, cv2.MORPH_CLOSE, np.ones((3, 3), np.uint8))
    count, pieces, stats, _ = cv2.connectedComponentsWithStats(mask)
    if count < 2:
        return mask
    return (pieces == 1 + int(stats[1:, cv2.CC_STAT_AREA].argmax())).astype(np.uint8)


def grow(box: NDArray[np.float32], shape: tuple[int, ...]) -> tuple[int, int, int, int]:
    """Return the box grown by 12 % on each side, inside the image: x0, y0, x1, y1."""
    dx, dy = CROP_GROWTH * (box[2] - box[0]), CROP_GROWTH * (box[3] - box[1])
    return (
        max(0, int(box[0] - dx)),
        max(0, int(box[1] - dy)),
        min(shape[1], int(box[2] + dx) + 1),
        min(shape[0], int(box[3] + dy) + 1),
    )


def teach(image: Image, detector: Detector, segmenter: Segmenter) -> dict[str, object] | None:
    """Outline the largest cow of a photo; None where no cow was found or outlined.

    Returns
    -------
    dict
        ``boxes`` (n, 5) of all cows, ``main`` the index of the outlined one, ``mask``
        (h, w) uint8 at the photo's size.
    """
    boxes = detector.find(image)
    if not len(boxes):
        return None
    main = int(((boxes[:, 2] - boxes[:, 0]) * (boxes[:, 3] - boxes[:, 1])).argmax())
    x0, y0, x1, y1 = grow(boxes[main], image.shape)
    crop = image[y0:y1, x0:x1]
    scale = WORK_SIDE / max(crop.shape[:2])
    large = cv2.resize(crop, None, fx=scale, fy=scale, interpolation=cv2.INTER_CUBIC)
    coarse = _largest(segmenter.cow(large))
    if coarse.mean() < 0.08:
        return None
    fine = outline(large, coarse)
    mask = np.zeros(image.shape[:2], np.uint8)
    soft = cv2.resize(fine.astype(np.float32), (x1 - x0, y1 - y0), interpolation=cv2.INTER_AREA)
    mask[y0:y1, x0:x1] = soft > 0.5
    return {"boxes": boxes, "main": main, "mask": mask}


def main(shared_data: Path, out: Path) -> None:
    """Outline all breed and yard photos; write masks as PNG and boxes as JSON."""
    detector = Detector(shared_data / "weights/detector_ncnn")
    segmenter = Segmenter(shared_data / "weights/segmenter/deeplabv3_mnv2_pascal_quant.tflite")
    photos = sorted((shared_data / "cows/breeds").glob("dataset/*/*/*.jpg"))
    photos += sorted((shared_data / "cows/yard_tiles").glob("*.png"))
    (out / "masks").mkdir(parents=True, exist_ok=True)
    found: dict[str, object] = {}
    for number, path in enumerate(photos):
        image = np.asarray(cv2.imread(str(path)), np.uint8)
        taught = teach(image, detector, segmenter)
        name = path.relative_to(shared_data).as_posix()
        if taught is None:
            found[name] = None
            continue
        cv2.imwrite(str(out / f"masks/{number:04d}.png"), np.asarray(taught["mask"]) * 255)
        boxes = np.asarray(taught["boxes"]).round(2).tolist()
        found[name] = {"mask": f"masks/{number:04d}.png", "boxes": boxes, "main": taught["main"]}
    (out / "teacher.json").write_text(json.dumps(found, indent=0))
    print(f"{sum(v is not None for v in found.values())} of {len(found)} photos outlined")


if __name__ == "__main__":
    main(Path(sys.argv[1]), Path(sys.argv[2]))
