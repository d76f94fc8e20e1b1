"""One box around what differs between each two frames of a list, by a library for pictures.

Called as `boxes.py LIBRARY LIST THREADS`. Prints the seconds that it took, the start of Python and the loading of the
library not counted, then a box a line: left, top, width, height, or zeros where nothing differs. Each thread takes a run
of neighbouring frames and decodes each once.
"""

import sys
import time
from concurrent.futures import ThreadPoolExecutor


def boxes_by_pillow(frames):
    from PIL import Image, ImageChops

    before = Image.open(frames[0])
    before.load()
    for frame in frames[1:]:
        after = Image.open(frame)
        after.load()
        box = ImageChops.difference(before, after).getbbox() or (0, 0, 0, 0)
        yield (box[0], box[1], box[2] - box[0], box[3] - box[1])
        before = after


def boxes_by_opencv(frames):
    import cv2

    before = cv2.imread(frames[0], cv2.IMREAD_GRAYSCALE)
    for frame in frames[1:]:
        after = cv2.imread(frame, cv2.IMREAD_GRAYSCALE)
        yield tuple(cv2.boundingRect(cv2.absdiff(before, after)))
        before = after


def main():
    library, list_of_frames, threads = sys.argv[1], sys.argv[2], int(sys.argv[3])
    boxes = {"pillow": boxes_by_pillow, "opencv": boxes_by_opencv}[library]
    if library == "opencv":
        import cv2

        cv2.setNumThreads(1)
    else:
        import PIL.Image, PIL.ImageChops, PIL.PngImagePlugin
    frames = open(list_of_frames).read().splitlines()
    share = -(-(len(frames) - 1) // threads)
    begin = time.perf_counter()
    with ThreadPoolExecutor(threads) as pool:
        runs = [frames[at : at + share + 1] for at in range(0, len(frames) - 1, share)]
        found = [box for run in pool.map(lambda run: list(boxes(run)), runs) for box in run]
    print(time.perf_counter() - begin)
    for box in found:
        print(*box)


main()
