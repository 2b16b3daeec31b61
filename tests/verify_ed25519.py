# SPDX-License-Identifier: MIT
"""Ed25519 by RFC 8032 section 5.1 alone, for the independent verifier: slow, plain, and
not for keeping secrets (nothing here runs in constant time).

    verify(key, message, signature)  sign(secret, message)  public(secret)

Points are (X, Y, Z, T) with x = X/Z, y = Y/Z, x y = T/Z; the curve is
-x^2 + y^2 = 1 + d x^2 y^2 over the integers modulo p = 2^255 - 19.
"""

import hashlib

P = 2**255 - 19
ORDER = 2**252 + 27742317777372353535851937790883648493
D = -121665 * pow(121666, -1, P) % P
ROOT = pow(2, (P - 1) // 4, P)  # of -1


def _x_of(y, sign):
    """The x to a y (5.1.3), or None where the curve has none."""
    if y >= P:
        return None
    square = (y * y - 1) * pow(D * y * y + 1, -1, P) % P
    x = pow(square, (P + 3) // 8, P)
    if x * x % P != square:
        x = x * ROOT % P
    if x * x % P != square or (x == 0 and sign):
        return None
    return P - x if x % 2 != sign else x


def _point(x, y):
    return (x, y, 1, x * y % P)


BASE_Y = 4 * pow(5, -1, P) % P
BASE = _point(_x_of(BASE_Y, 0), BASE_Y)


def _add(a, b):
    """5.1.4."""
    m = (a[1] - a[0]) * (b[1] - b[0]) % P
    n = (a[1] + a[0]) * (b[1] + b[0]) % P
    t = 2 * D * a[3] * b[3] % P
    z = 2 * a[2] * b[2] % P
    e, f, g, h = n - m, z - t, z + t, n + m
    return (e * f % P, g * h % P, f * g % P, e * h % P)


def _times(n, point):
    sum_ = (0, 1, 1, 0)
    while n:
        if n & 1:
            sum_ = _add(sum_, point)
        point = _add(point, point)
        n >>= 1
    return sum_


def _same(a, b):
    return (a[0] * b[2] - b[0] * a[2]) % P == 0 and (a[1] * b[2] - b[1] * a[2]) % P == 0


def _encode(point):
    inverse = pow(point[2], -1, P)
    x, y = point[0] * inverse % P, point[1] * inverse % P
    return (y | (x & 1) << 255).to_bytes(32, "little")


def _decode(text):
    n = int.from_bytes(text, "little")
    y, sign = n & (2**255 - 1), n >> 255
    x = _x_of(y, sign)
    return None if x is None else _point(x, y)


def _hash(*parts):
    return int.from_bytes(hashlib.sha512(b"".join(parts)).digest(), "little") % ORDER


def _expand(secret):
    h = hashlib.sha512(secret).digest()
    a = int.from_bytes(h[:32], "little")
    return a & (2**254 - 8) | 2**254, h[32:]


def public(secret):
    return _encode(_times(_expand(secret)[0], BASE))


def sign(secret, message):
    a, prefix = _expand(secret)
    key = _encode(_times(a, BASE))
    r = _hash(prefix, message)
    point = _encode(_times(r, BASE))
    s = (r + _hash(point, key, message) * a) % ORDER
    return point + s.to_bytes(32, "little")


def verify(key, message, signature):
    if len(key) != 32 or len(signature) != 64:
        return False
    a, r = _decode(key), _decode(signature[:32])
    s = int.from_bytes(signature[32:], "little")
    if a is None or r is None or s >= ORDER:
        return False
    k = _hash(signature[:32], key, message)
    return _same(_times(s, BASE), _add(r, _times(k, a)))
