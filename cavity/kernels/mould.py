"""Mould index by hour: the empirical model of Hukka & Viitanen with the sensitivity classes of Ojanen et al.

Key: M index 0-6; t_m weeks to M = 1; q excess humidity 0-1; k1 growth factor, k2 slowing near the largest index.

References
----------
A. Hukka, H. A. Viitanen, A mathematical model of mould growth on wooden material, Wood Sci. Technol. 33 (1999) 475-485.
T. Ojanen, H. Viitanen, R. Peuhkuri, K. Lähdesmäki, J. Vinha, K. Salminen, Mold growth modeling of building structures
using sensitivity classes of materials, Buildings XI, 2010. All coefficients from memory.
"""

import math

from cavity._jit import jit


@jit
def critical_humidity(celsius, least):
    """Return the relative humidity [%] above which mould grows at a temperature [degC]; `least` by class (E64)."""
    if celsius > 20.0:
        return least
    cubic = ((-0.00267 * celsius + 0.160) * celsius - 3.13) * celsius + 100.0
    return max(cubic, least)


@jit
def weeks_to_start(celsius, humidity, wood):
    """Return the weeks [week] to index 1 at constant temperature [degC], humidity [%] (E65); `wood` 0 pine, 1 other."""
    # resawn surface (no term for kiln-dried wood)
    return math.exp(-0.68 * math.log(celsius) - 13.9 * math.log(humidity) + 0.14 * wood + 66.02)


@jit
def largest_index(celsius, humidity, least, a, b, c):
    """Return the index at which growth ends at constant temperature [degC] and humidity [%] (E66)."""
    critical = critical_humidity(celsius, least)
    if critical >= 100.0:  # the cubic reaches 100 % at 0 degC: no growth, and no division by zero
        return 0.0
    q = (critical - humidity) / (critical - 100.0)
    return a + b * q - c * q * q


@jit
def mould_index(celsius, humidity, classes, decline, years, settle, index, peak, taken, work):
    """Run the index of each face over the same year, from 0, until its yearly peak settles (E67, E68).

    celsius, humidity : (hour, face), degC and %; classes : (face, 7) = k1 below 1, k1 above 1, A, B, C, least humidity,
    wood; decline : relative rate of decline; years : most repeats; settle : a face is done when its peak differs by
    less from that of the year before, never where 0; index : (hour, face) out, the last year run; peak : (year, face)
    out, that of the last year run in all years after it; taken : (face,) out, years run; work : (hour, 2).
    """
    hours, faces = celsius.shape
    for f in range(faces):
        k_low = classes[f, 0]
        k_high = classes[f, 1]
        least = classes[f, 5]
        # what does not depend on the index: growth per hour without k1 and k2 (-1: none possible), and its end
        for h in range(hours):
            t = celsius[h, f]
            rh = min(humidity[h, f], 100.0)
            # the laboratory data lie within 0-50 degC
            if t > 0.0 and t < 50.0 and rh >= critical_humidity(t, least):
                work[h, 0] = 1.0 / (168.0 * weeks_to_start(t, rh, classes[f, 6]))
                work[h, 1] = largest_index(t, rh, least, classes[f, 2], classes[f, 3], classes[f, 4])
            else:
                work[h, 0] = -1.0
        m = 0.0
        dry = 0  # hours since growth was last possible
        done = False
        for year in range(years):
            if done:
                peak[year, f] = peak[year - 1, f]
                continue
            top = 0.0
            for h in range(hours):
                if work[h, 0] >= 0.0:
                    dry = 0
                    end = work[h, 1]
                    if m < end:
                        k1 = k_low if m < 1.0 else k_high
                        k2 = 1.0 - math.exp(2.3 * (m - end))
                        m += k1 * k2 * work[h, 0]
                else:
                    dry += 1
                    if dry <= 6:
                        m -= 0.00133 * decline
                    elif dry > 24:
                        m -= 0.000667 * decline
                    m = max(m, 0.0)
                index[h, f] = m
                top = max(top, m)
            peak[year, f] = top
            taken[f] = year + 1
            done = year > 0 and abs(top - peak[year - 1, f]) < settle
