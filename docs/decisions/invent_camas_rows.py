"""Invents the book rows of the Camas 160 once: python docs/decisions/invent_camas_rows.py > camas160_rows.csv.

Another engine, propeller and drag law than Ownship's model, noise on every row, rounded as handbooks round.
See 0002-demo-data.md. Units: SI inside, handbook units in the rows.
"""

import sys

import numpy as np

FT, KT, LB, HP, G = 0.3048, 1852 / 3600, 0.45359237, 745.7, 9.80665
AREA, SPAN, DIAMETER, RATED = 160 * FT**2, 32 * FT, 74 * 0.0254, 160 * HP
VS1, VS0, W0 = 52 * KT, 47 * KT, 2350 * LB
RNG = np.random.default_rng(160)
DISC = np.pi / 4 * DIAMETER**2


def air(altitude_ft, celsius):
    """Density, kg/m3."""
    pressure = 101325 * (1 - 6.8756e-6 * altitude_ft) ** 5.2559
    return pressure / (287.05 * (celsius + 273.15))


def isa(altitude_ft):
    """Standard temperature, C."""
    return 15 - 1.9812e-3 * altitude_ft


def drag(v, rho, weight_n, extra=0.0):
    """Drag, N: the invented law, `extra` for flaps."""
    lift = weight_n / (0.5 * rho * v**2 * AREA)
    return 0.5 * rho * v**2 * AREA * (0.0305 + extra + 0.0585 * abs(lift - 0.12) ** 1.93 + 0.0012 * lift**4)


def thrust(power, v, rho):
    """Actuator disc with a fixed figure of 0.75: 0.75 P = T (V + w)."""
    low, high = 0.0, 6000.0
    for _ in range(60):
        t = (low + high) / 2
        w = -v / 2 + np.sqrt(v * v / 4 + t / (2 * rho * DISC))
        low, high = (t, high) if t * (v + w) < 0.75 * power else (low, t)
    return low


def available(x, rho):
    """Power of the engine at full throttle, W, at the share x of 2,700 rpm."""
    sigma = rho / 1.225
    return RATED * x * (1 + 0.26 * (1 - x)) * (1.125 * sigma - 0.125)


def absorbed(x, v, rho):
    """Power the propeller takes, W."""
    j = v / (x * 45 * DIAMETER)
    return 174 / 160 * RATED * x**3 * rho / 1.225 * (1 - 0.45 * (j - 0.55))


def full_throttle(v, rho):
    """Share of 2,700 rpm where engine and propeller agree."""
    low, high = 0.5, 1.25
    for _ in range(60):
        x = (low + high) / 2
        low, high = (x, high) if absorbed(x, v, rho) < available(x, rho) else (low, x)
    return low


def climb_rate(altitude_ft, celsius, weight, v_cas):
    """Rate of climb, m/s."""
    rho = air(altitude_ft, celsius)
    v = v_cas * np.sqrt(1.225 / rho)
    x = full_throttle(v, rho)
    return (thrust(available(x, rho), v, rho) - drag(v, rho, weight * G)) * v / (weight * G) / 1.012


def take_off(altitude_ft, celsius, weight):
    """Roll and distance over 50 ft, ft."""
    rho, w = air(altitude_ft, celsius), weight * G
    scale = np.sqrt(weight / W0 * 1.225 / rho)
    v1, v2 = 1.10 * VS1 * scale, 1.25 * VS1 * scale
    steps = np.linspace(0.02, 1, 40) * v1
    pull = np.array([thrust(available(full_throttle(v, rho), rho), v, rho) for v in steps])
    q = 0.5 * rho * steps**2 * AREA
    a = (pull - q * 0.038 - 0.032 * np.maximum(w - 0.45 * q, 0)) / weight
    roll = np.trapezoid(steps / a, steps)
    mean = (v1 + v2) / 2
    gamma = (thrust(available(full_throttle(mean, rho), rho), mean, rho) - drag(mean, rho, w)) / w
    return roll / FT, (roll + ((v2**2 - v1**2) / (2 * G) + 50 * FT) / gamma) / FT


def landing(altitude_ft, celsius, weight):
    """Roll and distance over 50 ft, ft."""
    rho = air(altitude_ft, celsius)
    scale = np.sqrt(weight / W0 * 1.225 / rho)
    v1, v2 = 1.33 * VS0 * scale, 1.1 * VS0 * scale
    roll = v2**2 / (2 * 0.245 * G)
    mean = (v1 + v2) / 2
    gamma = drag(mean, rho, weight * G, 0.062) / (weight * G)
    return roll / FT, (roll + ((v1**2 - v2**2) / (2 * G) + 50 * FT) / gamma) / FT


def cruise(altitude_ft, celsius, rpm):
    """Per cent of power, TAS in kt, US gal/h; None where the engine cannot turn that rpm in level flight."""
    rho, x, w = air(altitude_ft, celsius), rpm / 2700, W0 * G
    low, high = 45.0, 85.0
    for _ in range(60):
        v = (low + high) / 2
        low, high = (v, high) if thrust(absorbed(x, v, rho), v, rho) > drag(v, rho, w) else (low, v)
    power = absorbed(x, low, rho)
    if power > available(x, rho):
        return None
    share = power / RATED
    return share * 100, low / KT, 0.62 + 10.75 * share


def top_speed(altitude_ft, celsius):
    """Highest level TAS, kt: full throttle, but not above 2,700 rpm."""
    rho, low, high = air(altitude_ft, celsius), 45.0, 90.0
    for _ in range(60):
        v = (low + high) / 2
        power = absorbed(min(1.0, full_throttle(v, rho)), v, rho)
        low, high = (v, high) if thrust(power, v, rho) > drag(v, rho, W0 * G) else (low, v)
    return low / KT


ROWS = []


def row(kind, altitude, celsius, weight, value, rpm="", lift="", fifty="", climb="", approach="", sd=0.012, step=5):
    """Adds one row, with noise, rounded."""
    noisy = value * (1 + RNG.normal(0, sd))
    ROWS.append(f"{kind},{altitude},{celsius:g},{weight},{rpm},0,{lift},{fifty},{climb},{approach},"
                f"{round(noisy / step) * step:g}")


for weight in (2350, 2100, 1850):
    scale = np.sqrt(weight / 2350)
    lift, fifty, over = round(57 * scale), round(65 * scale), round(62 * scale)
    for altitude in (0, 2000, 4000, 6000, 8000, 9000):
        for celsius in (0, 15, 30, 45):
            roll, total = take_off(altitude, celsius, weight * LB)
            row("takeoff_roll_ft", altitude, celsius, weight, roll, lift=lift, fifty=fifty)
            row("takeoff_50ft_ft", altitude, celsius, weight, total, lift=lift, fifty=fifty)
            roll, total = landing(altitude, celsius, weight * LB)
            row("landing_roll_ft", altitude, celsius, weight, roll, approach=over)
            row("landing_50ft_ft", altitude, celsius, weight, total, approach=over)
    for altitude in (0, 4000, 8000, 12000):
        speed = 78 - altitude // 2000
        for celsius in (-15, 10, 35):
            rate = climb_rate(altitude, celsius, weight * LB, speed * KT) / FT * 60
            if rate > 60:
                row("rate_of_climb_fpm", altitude, celsius, weight, rate, climb=speed, sd=0.01)
time = fuel = way = 0.0
for altitude in range(0, 10000, 100):
    speed = 78 - altitude // 2000
    rate = climb_rate(altitude, isa(altitude), W0, speed * KT) / FT * 60
    time, fuel = time + 100 / rate, fuel + 100 / rate / 60 * (11.9 - altitude * 4.2e-4)
    way += 100 / rate / 60 * speed * (1 + altitude * 1.6e-5)
    if altitude + 100 in (2000, 4000, 6000, 8000, 10000):
        common = {"altitude": altitude + 100, "celsius": round(isa(altitude + 100), 1), "weight": 2350, "sd": 0.01}
        row("climb_time_min", value=time, step=0.5, **common)
        row("climb_fuel_usgal", value=fuel, step=0.1, **common)
        row("climb_distance_nm", value=way, step=0.5, **common)
for altitude in (2000, 5000, 8000, 11000):
    for offset in (-20, 0, 20):
        for rpm in (2200, 2350, 2500, 2650):
            celsius = round(isa(altitude) + offset)
            found = cruise(altitude, celsius, rpm)
            if found:
                for kind, value, step in zip(("power_pct", "cruise_tas_kt", "fuel_flow_usgph"), found, (1, 1, 0.1), strict=True):
                    row(kind, altitude, celsius, 2350, value, rpm=rpm, sd=0.004, step=step)
row("static_rpm", 0, 15, 2350, full_throttle(0.1, 1.225) * 2700, sd=0.002, step=10)
for altitude in (0, 4000, 8000):
    celsius = round(isa(altitude), 1)
    row("max_level_tas_kt", altitude, celsius, 2350, top_speed(altitude, isa(altitude)), sd=0.004, step=1)
header = ("kind,pressure_altitude_ft,oat_c,weight_lb,rpm,headwind_kt,lift_off_kias,at_50ft_kias,climb_kias,"
          "approach_kias,value")
sys.stdout.write("\n".join(["# Invented once for the demo by docs/decisions/invent_camas_rows.py: no real aeroplane.",
                            header, *ROWS]) + "\n")
