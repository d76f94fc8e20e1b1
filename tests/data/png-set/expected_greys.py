#!/usr/bin/env python3
"""Works out what `expected-greys.txt` and `expected-refusals.txt` must say, from the PNG files beside this script.

How it is independent of the program: it shares no line of code and no library with it. The chunks, the row filters,
the interlacing, the palette and the transparent colours are read here by hand after the PNG specification, sample by
sample and in whole numbers; only inflation (zlib) and SHA-256 come from Python's standard library. Nothing here was
made by running the program and copying what it said.

What is computed is the 8-bit grey of every pixel, row by row, before it is brought to a panel's levels:
  1. The transparent colour of a file (grey or colour, any depth) is compared with the samples as they stand in the file.
  2. A sample of 1, 2 or 4 bits is stretched to 0..255; one of 16 bits, alpha too, becomes (v * 255 + 32767) div 65535.
  3. Alpha is laid over white: (v * a + 255 * (255 - a) + 127) div 255.
  4. g = (2126 R + 7152 G + 722 B + 5000) div 10000.
Gamma, chromaticities, significant bits, suggested palettes, background colours and the pixels' shape are left out of
account, as the model says nothing of them.

A file is refused where its signature, a critical chunk's checksum, its header or its picture data break the
specification; the first fault in reading order is told.

  python3 expected_greys.py                writes both lists anew (the same bytes each time)
  python3 expected_greys.py --check        compares only; exit status 1 where they differ
  python3 expected_greys.py --cross-check  compares with the PyPI packages `pypng` and `pillow`, where they are installed
"""
import hashlib
import struct
import sys
import zlib
from pathlib import Path

HERE = Path(__file__).resolve().parent
SIGNATURE = b"\x89PNG\r\n\x1a\n"
CHANNELS = {0: 1, 2: 3, 3: 1, 4: 2, 6: 4}
DEPTHS = {0: (1, 2, 4, 8, 16), 2: (8, 16), 3: (1, 2, 4, 8), 4: (8, 16), 6: (8, 16)}
# First column, first row, column step, row step of each of the seven passes of an interlaced picture.
PASSES = [(0, 0, 8, 8), (4, 0, 8, 8), (0, 4, 4, 8), (2, 0, 4, 4), (0, 2, 2, 4), (1, 0, 2, 2), (0, 1, 1, 2)]


class Refused(Exception):
    """The file breaks the PNG specification."""


def chunks(data):
    """Kind and content of each chunk up to the end of the picture."""
    if data[:8] != SIGNATURE:
        raise Refused("signature is not that of a PNG file")
    place = 8
    while place + 12 <= len(data):
        (length,) = struct.unpack(">I", data[place:place + 4])
        kind = data[place + 4:place + 8]
        content = data[place + 8:place + 8 + length]
        told = data[place + 8 + length:place + 12 + length]
        if len(content) != length or len(told) != 4:
            raise Refused(f"file ends inside chunk {kind.decode('ascii', 'replace')}")
        if struct.unpack(">I", told)[0] != zlib.crc32(kind + content):
            if kind[0:1].isupper():
                raise Refused(f"checksum of chunk {kind.decode('ascii', 'replace')} is wrong")
        else:
            yield kind, content
        if kind == b"IEND":
            return
        place += 12 + length
    raise Refused("file ends before chunk IEND")


def read_header(content):
    if len(content) != 13:
        raise Refused("chunk IHDR has a wrong length")
    width, height, depth, colour, compression, filtering, interlaced = struct.unpack(">IIBBBBB", content)
    if width == 0 or height == 0:
        raise Refused("width or height is 0")
    if colour not in CHANNELS:
        raise Refused(f"colour type {colour} does not exist")
    if depth not in DEPTHS[colour]:
        raise Refused(f"bit depth {depth} does not exist for colour type {colour}")
    if compression or filtering or interlaced > 1:
        raise Refused("compression, filter or interlace method does not exist")
    return width, height, depth, colour, interlaced


def unfilter(kind, row, above, step):
    """Undoes a row's filter in place; `above` is the row before, `step` the bytes from a sample to its left neighbour."""
    for i in range(len(row)):
        left = row[i - step] if i >= step else 0
        up = above[i]
        corner = above[i - step] if i >= step else 0
        if kind == 0:
            guess = 0
        elif kind == 1:
            guess = left
        elif kind == 2:
            guess = up
        elif kind == 3:
            guess = (left + up) // 2
        elif kind == 4:
            estimate = left + up - corner
            away = (abs(estimate - left), abs(estimate - up), abs(estimate - corner))
            guess = (left, up, corner)[away.index(min(away))]
        else:
            raise Refused(f"row filter {kind} does not exist")
        row[i] = (row[i] + guess) & 255


def samples(row, count, depth):
    if depth == 16:
        return [row[2 * i] << 8 | row[2 * i + 1] for i in range(count)]
    if depth == 8:
        return list(row[:count])
    each = 8 // depth
    mask = (1 << depth) - 1
    return [row[i // each] >> (8 - depth * (i % each + 1)) & mask for i in range(count)]


def unreduced_pixels(data):
    """Size, depth, colour type, palette, transparency, and the pixels as tuples of samples as they stand in the file."""
    header = palette = key = None
    packed = b""
    pictured = False
    for kind, content in chunks(data):
        if header is None:
            if kind != b"IHDR":
                raise Refused("first chunk is not IHDR")
            header = read_header(content)
        elif kind == b"PLTE":
            palette = [tuple(content[i:i + 3]) for i in range(0, len(content), 3)]
        elif kind == b"tRNS":
            key = content
        elif kind == b"IDAT":
            packed += content
            pictured = True
    width, height, depth, colour, interlaced = header
    if not pictured:
        raise Refused("chunk IDAT is missing")
    if colour == 3 and palette is None:
        raise Refused("chunk PLTE is missing")
    try:
        plain = zlib.decompress(packed)
    except zlib.error as fault:
        raise Refused("picture data cannot be inflated") from fault
    channels = CHANNELS[colour]
    step = max(1, channels * depth // 8)
    pixels = [None] * (width * height)
    place = 0
    for first_x, first_y, step_x, step_y in PASSES if interlaced else [(0, 0, 1, 1)]:
        columns = range(first_x, width, step_x)
        rows = range(first_y, height, step_y)
        if not columns or not rows:
            continue
        length = (len(columns) * channels * depth + 7) // 8
        above = bytearray(length)
        for y in rows:
            row = bytearray(plain[place + 1:place + 1 + length])
            if len(row) != length:
                raise Refused("picture data end too early")
            unfilter(plain[place], row, above, step)
            place += 1 + length
            above = row
            values = samples(row, len(columns) * channels, depth)
            for i, x in enumerate(columns):
                pixels[y * width + x] = tuple(values[i * channels:(i + 1) * channels])
    return width, height, depth, colour, palette, key, pixels


def reduce(value, depth):
    if depth == 16:
        return (value * 255 + 32767) // 65535
    return value * 255 // ((1 << depth) - 1)


def rgba(data):
    """Size and the pixels as 8-bit red, green, blue and alpha."""
    width, height, depth, colour, palette, key, pixels = unreduced_pixels(data)
    out = []
    clear = None
    if key is not None and colour in (0, 2):
        clear = struct.unpack(f">{len(key) // 2}H", key)
    for pixel in pixels:
        if colour == 3:
            if pixel[0] >= len(palette):
                raise Refused("a pixel lies outside the palette")
            alpha = key[pixel[0]] if key is not None and pixel[0] < len(key) else 255
            out.append((*palette[pixel[0]], alpha))
            continue
        values = [reduce(v, depth) for v in pixel]
        alpha = values.pop() if colour in (4, 6) else 255
        if clear is not None and pixel == clear:
            alpha = 0
        out.append((*(values * 3 if len(values) == 1 else values), alpha))
    return width, height, out


def greys(data):
    width, height, pixels = rgba(data)
    out = bytearray()
    for *colours, alpha in pixels:
        red, green, blue = ((v * alpha + 255 * (255 - alpha) + 127) // 255 for v in colours)
        out.append((2126 * red + 7152 * green + 722 * blue + 5000) // 10000)
    return width, height, bytes(out)


def lists():
    good = []
    broken = []
    for path in sorted(HERE.glob("*.png"), key=lambda p: p.name.encode()):
        try:
            width, height, shades = greys(path.read_bytes())
            good.append(f"{path.name} {width} {height} {hashlib.sha256(shades).hexdigest()}\n")
        except Refused as fault:
            broken.append(f"{path.name} {fault}\n")
    return {"expected-greys.txt": "".join(good), "expected-refusals.txt": "".join(broken)}


def cross_check():
    """The unreduced samples against `pypng`, the 8-bit pixels against `pillow` where that keeps them whole."""
    import png
    from PIL import Image

    with_pypng = with_pillow = 0
    for line in lists()["expected-greys.txt"].splitlines():
        path = HERE / line.split()[0]
        width, height, depth, _, _, key, pixels = unreduced_pixels(path.read_bytes())
        rows = list(png.Reader(filename=str(path)).read()[2])
        flat = [v for row in rows for v in row]
        assert flat == [v for pixel in pixels for v in pixel], path.name
        with_pypng += 1
        if depth == 16:
            continue
        picture = Image.open(path)
        assert picture.size == (width, height), path.name
        grey_key = key is not None and picture.mode in ("1", "L", "I") and depth < 8
        if not grey_key:
            assert list(picture.convert("RGBA").getdata()) == rgba(path.read_bytes())[2], path.name
            with_pillow += 1
    print(f"{with_pypng} files equal with pypng (samples), {with_pillow} with pillow (8-bit red, green, blue, alpha)")


def main():
    if "--cross-check" in sys.argv:
        cross_check()
        return 0
    differs = False
    for name, text in lists().items():
        path = HERE / name
        if "--check" in sys.argv:
            same = path.exists() and path.read_bytes() == text.encode()
            print(f"{name}: {'same' if same else 'differs'}")
            differs |= not same
        else:
            path.write_bytes(text.encode())
            print(f"{name}: {len(text.splitlines())} lines")
    return 1 if differs else 0


if __name__ == "__main__":
    sys.exit(main())
