"""Follows rays of light backwards through the stone: Snell's law and Fresnel's equations at every facet, no chance.

At the first facet the mirror image of the surroundings is added; the refracted ray goes on inside, and wherever it
meets a facet the part that leaves is added and the reflected part goes on, until less than a thousandth is left.
Three weights run side by side: with everything, without the features of the stone, without dirt. So the picture and
the truth of what every mark took or gave come from the same rays.
"""

from __future__ import annotations

from collections import namedtuple
from concurrent.futures import ThreadPoolExecutor

import numpy as np
from numba import njit
from scripts.second.light import quick, radiance

# planes (n, 4), first girdle plane, squared inscribed radius, girdle frosted or not, pose (3, 3) from stone to world,
# place (2) in the world, rows of features, dirt and claws, the lamp, its mean radiance (3), index of refraction
Scene = namedtuple("Scene", "planes girdle inscribed2 frosted pose place features dirt claws lamp ambient index")
CHANNELS = 6  # red, green, blue; grey without features; grey without dirt; share of metal
THREADS = 2
LIMIT = 24
LEAST = 1e-3
ELLIPSOID, OCTAHEDRON, BOX, DISC, HAZE, GROUP, CLEAR = range(7)
GRAIN, SMEAR = range(2)
# columns of features, dirt and claws
SHAPE, CENTRE, BOUND, FRAME, OPACITY, GLOW, SEED, CHILDREN = 0, 1, 4, 5, 14, 15, 16, 17
COLUMNS = 18


@quick
def dot(a, b):
    return a[0] * b[0] + a[1] * b[1] + a[2] * b[2]


@quick
def along(p, d, t):
    return p[0] + t * d[0], p[1] + t * d[1], p[2] + t * d[2]


@quick
def turned(m, v):
    """World direction of a stone's direction."""
    return (
        m[0, 0] * v[0] + m[0, 1] * v[1] + m[0, 2] * v[2],
        m[1, 0] * v[0] + m[1, 1] * v[1] + m[1, 2] * v[2],
        m[2, 0] * v[0] + m[2, 1] * v[1] + m[2, 2] * v[2],
    )


@quick
def unturned(m, v):
    return (
        m[0, 0] * v[0] + m[1, 0] * v[1] + m[2, 0] * v[2],
        m[0, 1] * v[0] + m[1, 1] * v[1] + m[2, 1] * v[2],
        m[0, 2] * v[0] + m[1, 2] * v[1] + m[2, 2] * v[2],
    )


@quick
def to_frame(rows, k, v):
    """A vector in a body's own frame, where the body is the unit ball, cube or disc."""
    return (
        rows[k, 5] * v[0] + rows[k, 6] * v[1] + rows[k, 7] * v[2],
        rows[k, 8] * v[0] + rows[k, 9] * v[1] + rows[k, 10] * v[2],
        rows[k, 11] * v[0] + rows[k, 12] * v[1] + rows[k, 13] * v[2],
    )


@quick
def from_centre(rows, k, p):
    return p[0] - rows[k, 1], p[1] - rows[k, 2], p[2] - rows[k, 3]


@quick
def reflectance(cosine, ratio):
    """Fresnel, unpolarised (mean of both polarisations), and the cosine behind; ratio = index before over behind."""
    sine2 = ratio * ratio * (1 - cosine * cosine)
    if sine2 >= 1:
        return 1.0, 0.0
    behind = np.sqrt(1 - sine2)
    s = (ratio * cosine - behind) / (ratio * cosine + behind)
    p = (cosine - ratio * behind) / (cosine + ratio * behind)
    return 0.5 * (s * s + p * p), behind


@quick
def refracted(d, n, cosine, behind, ratio):
    """Snell's law in vectors; n points against d."""
    k = ratio * cosine - behind
    return ratio * d[0] + k * n[0], ratio * d[1] + k * n[1], ratio * d[2] + k * n[2]


@quick
def enter(planes, p, d):
    """Where a ray from outside meets the solid: distance and facet, or facet -1 (clipping by half-spaces)."""
    near, far, facet = -1e30, 1e30, -1
    for k in range(planes.shape[0]):
        n = (planes[k, 0], planes[k, 1], planes[k, 2])
        speed, room = dot(n, d), planes[k, 3] - dot(n, p)
        if speed < -1e-12:
            if room / speed > near:
                near, facet = room / speed, k
        elif speed > 1e-12:
            far = min(far, room / speed)
        elif room < 0:
            return 0.0, -1
    if near < far and near > 0:
        return near, facet
    return 0.0, -1


@quick
def nearest(planes, begin, end, p, d, best, facet):
    for k in range(begin, end):
        speed = planes[k, 0] * d[0] + planes[k, 1] * d[1] + planes[k, 2] * d[2]
        if speed > 1e-12:
            room = planes[k, 3] - planes[k, 0] * p[0] - planes[k, 1] * p[1] - planes[k, 2] * p[2]
            if room < best * speed:
                best, facet = max(0.0, room / speed), k
    return best, facet


@quick
def leave(scene, p, d):
    """The next facet from inside; the girdle's many planes are tried only outside their inscribed cylinder."""
    best, facet = nearest(scene.planes, 0, scene.girdle, p, d, 1e3, -1)
    q = along(p, d, best)
    if q[0] * q[0] + q[1] * q[1] > scene.inscribed2:
        best, facet = nearest(scene.planes, scene.girdle, scene.planes.shape[0], p, d, best, facet)
    return best, facet


@quick
def lattice(i, j, seed):
    """A number in 0..1 for a lattice point."""
    k = (i * 374761393 + j * 668265263 + seed * 974634777) & 0x7FFFFFFF
    k = ((k ^ (k >> 13)) * 1274126177) & 0x7FFFFFFF
    return ((k ^ (k >> 16)) & 0xFFFF) / 65535.0


@quick
def texture(x, y, seed):
    """Value noise (bilinear between lattice points) of two octaves, 0..1."""
    total = 0.0
    for octave in range(2):
        i, j = int(np.floor(x)), int(np.floor(y))
        u, v = x - i, y - j
        low = lattice(i, j, seed) * (1 - u) + lattice(i + 1, j, seed) * u
        high = lattice(i, j + 1, seed) * (1 - u) + lattice(i + 1, j + 1, seed) * u
        total += (low * (1 - v) + high * v) * (0.65 if octave == 0 else 0.35)
        x, y = 2.3 * x + 7.1, 2.3 * y + 3.7
    return total


@quick
def through_ball(o, d):
    """Entry and exit of the unit ball, and the squared distance of the ray from its centre."""
    dd, od = dot(d, d), dot(o, d)
    off2 = dot(o, o) - od * od / dd
    if off2 >= 1:
        return 1.0, 0.0, off2
    half = np.sqrt((1 - off2) / dd)
    return -od / dd - half, -od / dd + half, off2


@quick
def through_slabs(o, d, octahedron):
    """Entry and exit of the unit cube, or of the octahedron |x| + |y| + |z| <= 1."""
    near, far = -1e30, 1e30
    for k in range(4 if octahedron else 3):
        if octahedron:
            sx, sy = (1.0 if k & 1 else -1.0), (1.0 if k & 2 else -1.0)
            a, b = sx * o[0] + sy * o[1] + o[2], sx * d[0] + sy * d[1] + d[2]
        else:
            a, b = o[k], d[k]
        if abs(b) < 1e-12:
            b = 1e-12
        t0, t1 = (-1 - a) / b, (1 - a) / b
        near, far = max(near, min(t0, t1)), min(far, max(t0, t1))
    return near, far


@quick
def feather(rows, k, o, d, end):
    """A ragged crack: opacity where the ray crosses its disc, more at grazing crossings."""
    if abs(d[2]) < 1e-9:
        return 0.0, 0.0
    t = -o[2] / d[2]
    if t < 0 or t > end:
        return 0.0, 0.0
    x, y, seed = o[0] + t * d[0], o[1] + t * d[1], int(rows[k, SEED])
    radius = np.hypot(x, y)
    ragged = 0.6 + 0.4 * texture(3 + 2.5 * x / (radius + 1e-9), 3 + 2.5 * y / (radius + 1e-9), seed)
    if radius > ragged:
        return 0.0, 0.0
    grain = texture(6 * x + 40, 6 * y + 40, seed)
    part = rows[k, OPACITY] * (0.25 + 0.75 * grain) * (1 - (radius / ragged) ** 4)
    return part, rows[k, GLOW] * (0.6 + 0.8 * grain)


@quick
def body(rows, k, o, d, end):
    """Opacity and glow of one feature for the ray o + t d in its own frame, 0 <= t <= end."""
    shape = int(rows[k, SHAPE])
    if shape == DISC:
        return feather(rows, k, o, d, end)
    if shape in (OCTAHEDRON, BOX):
        near, far = through_slabs(o, d, shape == OCTAHEDRON)
        off2 = 0.5
    else:
        near, far, off2 = through_ball(o, d)
    near, far = max(0.0, near), min(end, far)
    if near >= far:
        return 0.0, 0.0
    if shape == HAZE:
        chord = (far - near) * np.sqrt(dot(d, d))
        return 1 - np.exp(-rows[k, OPACITY] * chord * (1 - off2)), rows[k, GLOW]
    if shape == CLEAR:  # a clear crystal bends the light at its rim and lets it pass in the middle
        return rows[k, OPACITY] * (0.25 + 0.75 * off2 * off2), rows[k, GLOW] * (1 - off2)
    return rows[k, OPACITY], rows[k, GLOW] * (1 - 0.7 * off2)


@quick
def pass_features(features, p, d, end):
    """What is let through on the way to the next facet, and what shines on the way (times the mean radiance)."""
    kept, shine, k = 1.0, 0.0, 0
    while k < features.shape[0]:
        o = from_centre(features, k, p)
        ahead = -dot(o, d)
        reach = features[k, BOUND]
        if dot(o, o) - ahead * ahead > reach * reach or ahead < -reach or ahead > end + reach:
            k += 1 + int(features[k, CHILDREN])
            continue
        if features[k, SHAPE] != GROUP:
            part, glow = body(features, k, to_frame(features, k, o), to_frame(features, k, d), end)
            shine += kept * part * glow
            kept *= 1 - part
        k += 1
    return kept, shine


@quick
def soil(dirt, p):
    """Cover of a place on the stone's outside: kept share, shine, and how much of a total reflection is spoilt."""
    kept, shine, spoilt = 1.0, 0.0, 0.0
    for k in range(dirt.shape[0]):
        o = from_centre(dirt, k, p)
        if dot(o, o) > dirt[k, BOUND] * dirt[k, BOUND]:
            continue
        q = to_frame(dirt, k, o)
        size2 = dot(q, q)
        if size2 >= 1:
            continue
        part = dirt[k, OPACITY]
        if dirt[k, SHAPE] == SMEAR:
            part *= (1 - size2) * (1 - size2) * texture(3 * q[0] + 20, 3 * q[1] + 20, int(dirt[k, SEED])) * 1.6
            spoilt = max(spoilt, min(1.0, part))
        else:
            spoilt = max(spoilt, 0.25 * part)  # a grain touches at a few points only
        part = min(part, 1.0)
        shine += kept * part * dirt[k, GLOW]
        kept *= 1 - part
    return kept, shine, spoilt


@quick
def metal(scene, p, d):
    """The nearest claw on a ray outside the stone: distance, or -1, and what its polished surface mirrors."""
    claws, best, found = scene.claws, 1e30, -1
    for k in range(claws.shape[0]):
        near, far, off2 = through_ball(to_frame(claws, k, from_centre(claws, k, p)), to_frame(claws, k, d))
        if off2 < 1 and far > 1e-6 and near < best:
            best, found = near, k
    if found < 0:
        return -1.0, (0.0, 0.0, 0.0)
    if best < 1e-6:
        return 0.0, (0.05 * scene.ambient[0], 0.05 * scene.ambient[1], 0.05 * scene.ambient[2])
    q = to_frame(claws, found, from_centre(claws, found, along(p, d, best)))
    nx = claws[found, 5] * q[0] + claws[found, 8] * q[1] + claws[found, 11] * q[2]
    ny = claws[found, 6] * q[0] + claws[found, 9] * q[1] + claws[found, 12] * q[2]
    nz = claws[found, 7] * q[0] + claws[found, 10] * q[1] + claws[found, 13] * q[2]
    size = np.sqrt(nx * nx + ny * ny + nz * nz)
    n = (nx / size, ny / size, nz / size)
    mirrored = along(d, n, -2 * dot(d, n))
    seen = radiance(scene.lamp, turned(scene.pose, p), turned(scene.pose, mirrored))
    return best, (0.62 * seen[0], 0.6 * seen[1], 0.57 * seen[2])


@quick
def surroundings(scene, p, d):
    """Radiance from outside the stone, claws included."""
    if scene.claws.shape[0] > 0:
        distance, shown = metal(scene, p, d)
        if distance >= 0:
            return shown
    return radiance(scene.lamp, turned(scene.pose, p), turned(scene.pose, d))


@quick
def add(pixel, light, with_all, without_features, without_dirt):
    grey = (light[0] + light[1] + light[2]) / 3
    pixel[0] += with_all * light[0]
    pixel[1] += with_all * light[1]
    pixel[2] += with_all * light[2]
    pixel[3] += without_features * grey
    pixel[4] += without_dirt * grey


@quick
def inside(scene, pixel, p, d, weights, limit):
    """Goes from facet to facet; weights: with everything, without features, without dirt."""
    wa, wf, wd = weights
    ambient = (scene.ambient[0], scene.ambient[1], scene.ambient[2])
    for _ in range(limit):
        end, facet = leave(scene, p, d)
        kept, shine = pass_features(scene.features, p, d, end)
        add(pixel, ambient, wa * shine, 0.0, wd * shine)
        wa, wd = wa * kept, wd * kept
        p = along(p, d, end)
        if facet < 0 or (scene.frosted and facet >= scene.girdle):
            add(pixel, ambient, 0.7 * wa, 0.7 * wf, 0.7 * wd)
            return
        n = (scene.planes[facet, 0], scene.planes[facet, 1], scene.planes[facet, 2])
        cosine = dot(n, d)
        back, behind = reflectance(cosine, scene.index)
        clear, shine, spoilt = soil(scene.dirt, p)
        if back < 1:
            against = (-n[0], -n[1], -n[2])
            light = surroundings(scene, p, refracted(d, against, cosine, behind, scene.index))
            out = 1 - back
            add(pixel, light, out * clear * wa, out * clear * wf, out * wd)
            add(pixel, ambient, out * shine * wa, out * shine * wf, 0.0)
        if spoilt > 0:
            add(pixel, ambient, 0.5 * back * spoilt * wa, 0.5 * back * spoilt * wf, 0.0)
        wa, wf, wd = back * (1 - spoilt) * wa, back * (1 - spoilt) * wf, back * wd
        d = along(d, n, -2 * cosine)
        if max(wa, wf, wd) < LEAST:
            return


@quick
def look(scene, pixel, p, d, limit):
    """Adds what one ray from the camera brings to a pixel."""
    distance, facet = enter(scene.planes, p, d)
    if scene.claws.shape[0] > 0:
        gap, shown = metal(scene, p, d)
        if gap >= 0 and (facet < 0 or gap < distance):
            add(pixel, shown, 1.0, 1.0, 1.0)
            pixel[5] += 1
            return
    if facet < 0:
        add(pixel, surroundings(scene, p, d), 1.0, 1.0, 1.0)
        return
    p = along(p, d, distance)
    n = (scene.planes[facet, 0], scene.planes[facet, 1], scene.planes[facet, 2])
    cosine = -dot(n, d)
    back, behind = reflectance(cosine, 1 / scene.index)
    clear, shine, _ = soil(scene.dirt, p)
    add(pixel, surroundings(scene, p, along(d, n, 2 * cosine)), back * clear, back * clear, back)
    add(pixel, (scene.ambient[0], scene.ambient[1], scene.ambient[2]), shine, shine, 0.0)
    through = (1 - back) * clear, (1 - back) * clear, 1 - back
    inside(scene, pixel, p, refracted(d, n, cosine, behind, 1 / scene.index), through, limit)


@quick
def camera_ray(scene, x, y, scale, distance):
    """Ray of a place in the picture (pixels right of and below its middle), in the stone's frame."""
    length = np.sqrt((x / scale) ** 2 + (y / scale) ** 2 + distance**2)
    d = (x / scale / length, -y / scale / length, -distance / length)
    p = (-scene.place[0], -scene.place[1], distance)
    return unturned(scene.pose, p), unturned(scene.pose, d)


@njit(cache=True, fastmath=True, error_model="numpy", nogil=True)
def render_rows(picture, begin, every, scene, scale, distance, grid, limit, seed):
    side = picture.shape[0]
    middle = (side - 1) / 2
    for i in range(begin, side, every):
        for j in range(side):
            pixel = picture[i, j]
            for s in range(grid * grid):
                u = lattice(i * 7919 + s, j, seed)
                v = lattice(i, j * 7919 + s, seed + 1)
                x = j - middle + (s % grid + u) / grid - 0.5
                y = i - middle + (s // grid + v) / grid - 0.5
                p, d = camera_ray(scene, x, y, scale, distance)
                look(scene, pixel, p, d, limit)
            for c in range(CHANNELS):
                pixel[c] /= grid * grid


def render(scene, side, scale, distance, grid, limit, seed):
    """Light (side, side, CHANNELS), the mean of grid x grid jittered rays per pixel; scale in pixels per unit."""
    picture = np.zeros((side, side, CHANNELS))
    with ThreadPoolExecutor(THREADS) as pool:
        jobs = [
            pool.submit(render_rows, picture, k, THREADS, scene, scale, distance, grid, limit, seed)
            for k in range(THREADS)
        ]
        for job in jobs:
            job.result()
    return picture


@quick
def sight_line(scene, x, y, scale, distance):
    """First facet of a picture place, and the ray inside; facet -1 beside the stone."""
    p, d = camera_ray(scene, x, y, scale, distance)
    t, facet = enter(scene.planes, p, d)
    if facet < 0:
        return facet, p, d
    n = (scene.planes[facet, 0], scene.planes[facet, 1], scene.planes[facet, 2])
    cosine = -dot(n, d)
    _, behind = reflectance(cosine, 1 / scene.index)
    return facet, along(p, d, t), refracted(d, n, cosine, behind, 1 / scene.index)
