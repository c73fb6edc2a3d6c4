"""The same vehicle through a general stiff solver, written a second time in plain Python.

Differs from the package on purpose: heights are states of their own (the balance of forces is
differentiated, not solved), the pump's working point comes from `brentq`, time steps from SciPy.
Only the control unit's decisions are shared: it is looked at on its ticks in the dense output, and
the integration starts anew where a command changes.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import pairwise
from typing import Any

import numba
import numpy as np
from scipy import integrate
from scipy.optimize import brentq

from sagtrace.twin import _slots as s
from sagtrace.twin import controller
from sagtrace.twin._kernels import pointers
from sagtrace.twin.faults import TimedFault
from sagtrace.twin.parameters import VehicleParameters
from sagtrace.twin.script import Script, stretches
from sagtrace.twin.simulate import initial_state

solve: Any = integrate.solve_ivp  # its stubs have no row for these arguments
R, G = 287.05, 1.4
RHO0, T0 = 1.185, 293.15
CV, CP = R / (G - 1), G * R / (G - 1)


@numba.njit  # type: ignore[untyped-decorator]
def _decide(decide: Any, arguments: tuple[Any, ...]) -> float:
    """The control unit's own function, which compiled code knows by its address."""
    return decide(*arguments)  # type: ignore[no-any-return]


def iso(pa: float, ta: float, pb: float, tb: float, c: float, b: float, lam: float) -> float:
    if pb > pa:
        return -iso(pb, tb, pa, ta, c, b, lam)
    r = pb / pa
    q = pa * c * RHO0 * math.sqrt(T0 / ta)
    if r <= b:
        return q
    if r <= lam:
        return q * math.sqrt(1 - ((r - b) / (1 - b)) ** 2)
    return q * math.sqrt(1 - ((lam - b) / (1 - b)) ** 2) * (1 - r) / (1 - lam)


def vapour(t: float) -> float:
    a = (-7.85951783, 1.84408259, -11.7866497, 22.6807411, -15.9618719, 1.80122502)
    e = (1, 1.5, 3, 3.5, 4, 7.5)
    z = 1 - t / 647.096
    return 22.064e6 * math.exp(647.096 / t * sum(f * z**p for f, p in zip(a, e, strict=True)))


def fuse_seconds(ratio: float, place: float) -> float:
    least = ((1.1, 360000), (1.35, 0.75), (1.6, 0.25), (2.0, 0.15), (3.5, 0.04), (6.0, 0.03))
    most = ((1.1, 360000), (1.35, 600), (1.6, 50), (2.0, 5), (3.5, 0.5), (6.0, 0.1))
    if ratio < 1.1:
        return math.inf
    at = [
        np.interp(math.log(ratio), np.log([p[0] for p in band]), np.log([p[1] for p in band]))
        for band in (least, most)
    ]
    return math.exp(at[0] + place * (at[1] - at[0]))


class Plant:
    """Right-hand side for one stretch and one set of commands."""

    def __init__(self, w: np.ndarray, springs: np.ndarray, links: np.ndarray) -> None:
        self.w, self.sp, self.links = w.tolist(), springs.tolist(), links
        self.n = len(springs)
        self.nv = self.n + (2 if w[s.V_RES] > 0 else 1)

    def pump(
        self, pb: float, ta: float, th: float, dryer: float, volts: float, ohms: float
    ) -> tuple[float, float, float, float, float]:
        w = self.w
        tin, baro, n = ta + w[s.PREHEAT] * (th - ta), w[s.BARO], w[s.POLY]
        found: dict[str, float] = {}

        def given(q: float) -> float:
            drop = q / RHO0 * math.sqrt(tin / T0)
            pin = math.sqrt(max(baro**2 - (drop / w[s.C_INTAKE]) ** 2, (0.02 * baro) ** 2))
            pout = math.sqrt(pb**2 + (drop / dryer) ** 2)
            r = max(pout / pin, 1.0)
            eta = max(1 - w[s.CLEAR] * (r ** (1 / n) - 1), 0.0)
            work = n / (n - 1) * pin * eta * w[s.SWEPT] * (r ** ((n - 1) / n) - 1)
            amps = min((w[s.FRICTION] + work / (2 * math.pi)) / w[s.KE], volts / ohms)
            turns = (volts - amps * ohms) / w[s.KE] / (2 * math.pi)
            turns = 0.0 if turns < 1e-12 else turns
            found.update(amps=amps, turns=turns, pout=pout, work=work)
            lost = iso(pout, tin, pin, tin, w[s.RING], 0.5, w[s.LAMINAR])
            return float(max(eta * w[s.SWEPT] * turns * pin / (R * tin) - 0.5 * lost, 0.0))

        top = given(0.0)
        q = brentq(lambda z: given(z) - z, 0.0, top, xtol=1e-18, rtol=1e-13) if top > 0 else 0.0
        given(q)
        return q, found["amps"], found["turns"], found["pout"], found["work"]

    def loop(self, y: np.ndarray, u: np.ndarray) -> tuple[float, float, float, float, float]:
        w, e = self.w, 2 * self.nv + self.n
        charge = min(max(y[e + 4], 0.0), 1.0)
        volts = w[s.OCV_EMPTY] + (w[s.OCV_FULL] - w[s.OCV_EMPTY]) * charge
        source = w[s.R_BATT]
        if u[s.U_ENGINE] > 0 and w[s.V_CHARGE] > volts:
            volts, source = w[s.V_CHARGE], w[s.R_CHARGE]
        joint = w[s.R_CONN] * (1 + 0.00393 * (y[e + 1] - 293.15))
        before = source + w[s.R_FEED] + w[s.R_RELAY] + w[s.R_GROUND] + joint
        return volts, source, joint, before, charge

    def seen(self, t: float, y: np.ndarray, u: np.ndarray, cmd: np.ndarray) -> tuple[float, float]:
        """Supply voltage and true pressure at the sensor."""
        nv, n = self.nv, self.n
        volts, source, _, before, _ = self.loop(y, u)
        amps = 0.0
        if self.powered(cmd):
            amps = self.working_point(t, y, u, volts, before)[1]
        volume = self.w[s.V_RES] if nv > n + 1 else self.w[s.V_BLOCK]
        return volts - amps * source, 0.4 * y[2 * nv - 1] / volume

    def powered(self, cmd: np.ndarray) -> bool:
        w = self.w
        on = w[s.STUCK_ON] > 0 or (cmd[0] > 0 and w[s.COIL_OPEN] == 0)
        return bool(on and cmd[3] == 0 and w[s.BLOWN] == 0 and not w[s.LOOP_OPEN])

    def working_point(
        self, t: float, y: np.ndarray, u: np.ndarray, volts: float, before: float
    ) -> tuple[float, float, float, float, float]:
        w, nv, n = self.w, self.nv, self.n
        e = 2 * nv + n
        ta = u[s.U_AMBIENT] + u[s.U_SLOPE] * (t - u[s.U_START])
        full = min(max(y[e + 3] / w[s.DRY_CAP], 0), 1)
        dryer = w[s.C_DRYER] * (1 - w[s.DRY_CHOKE] * full)
        pb = 0.4 * y[nv + n] / w[s.V_BLOCK]
        return self.pump(pb, ta, y[e], dryer, volts, before + w[s.R_ARM])

    def rates(self, t: float, y: np.ndarray, u: np.ndarray, cmd: np.ndarray) -> np.ndarray:
        w, n, nv = self.w, self.n, self.nv
        e = 2 * nv + n
        m, U, x = y[:nv], y[nv : 2 * nv], y[2 * nv : e]
        ta = u[s.U_AMBIENT] + u[s.U_SLOPE] * (t - u[s.U_START])
        baro, b, lam, bl = w[s.BARO], w[s.B_VALVE], w[s.LAMINAR], w[s.B_LEAK]
        T = [U[i] / (CV * m[i]) for i in range(nv)]
        area = [r[s.AREA] + r[s.SLOPE] * x[i] for i, r in enumerate(self.sp)]
        vol = [
            r[s.VOLUME] + r[s.AREA] * x[i] + r[s.SLOPE] * x[i] ** 2 / 2
            for i, r in enumerate(self.sp)
        ]
        vol.append(w[s.V_BLOCK])
        if nv > n + 1:
            vol.append(w[s.V_RES])
        p = [(G - 1) * U[i] / vol[i] for i in range(nv)]
        dm, dU = [0.0] * nv, [0.0] * nv

        def move(i: int, j: int, c: float, b: float) -> float:
            pj, tj = (p[j], T[j]) if j >= 0 else (baro, ta)
            q = iso(p[i], T[i], pj, tj, c, b, lam) if c > 0 else 0.0
            h = CP * q * (T[i] if q > 0 else tj)
            dm[i] -= q
            dU[i] -= h
            if j >= 0:
                dm[j] += q
                dU[j] += h
            return q

        for i, r in enumerate(self.sp):
            stuck = r[s.V_STUCK_CLOSED] or r[s.V_COIL]
            is_open = r[s.V_STUCK_OPEN] > 0 or (cmd[4 + i] > 0 and not stuck)
            move(i, n, r[s.SEAT] + (r[s.C_OPEN] if is_open else 0.0), b)
            move(i, -1, r[s.LEAK], bl)
            move(i, (i + 1) % n, r[s.CROSS], bl)
        if nv > n + 1:
            shut = cmd[2] == 0 or w[s.R_STUCK] or w[s.R_COIL]
            move(n + 1, n, w[s.R_SEAT] + (0.0 if shut else w[s.C_RES]), b)
            move(n + 1, -1, w[s.L_RES], bl)
        full = min(max(y[e + 3] / w[s.DRY_CAP], 0), 1)
        dryer = w[s.C_DRYER] * (1 - w[s.DRY_CHOKE] * full)
        volts, _, joint, before, charge = self.loop(y, u)
        q, amps, turns, pout, work = 0.0, 0.0, 0.0, p[n], 0.0
        if self.powered(cmd):
            q, amps, turns, pout, work = self.working_point(t, y, u, volts, before)
            hot = ta * max(pout / baro, 1) ** ((w[s.POLY] - 1) / w[s.POLY])
            dm[n] += q
            dU[n] += CP * q * (ta + w[s.AFTERCOOL] * (hot - ta))
        move(n, -1, w[s.L_BLOCK] + w[s.L_VENT] + (w[s.L_CHECK] if turns == 0 else 0), bl)
        vented = 0.0
        if cmd[1] > 0 and not w[s.VENT_STUCK]:
            vented = move(n, -1, (w[s.C_VENT] ** -2 + dryer**-2) ** -0.5, b)
        walls = [r[s.G_SPRING] for r in self.sp] + [w[s.G_BLOCK], w[s.G_RES]]
        for i in range(nv):
            dU[i] += walls[i] * (ta - T[i])
        # d/dt of: (p - baro) A + stops - links x - load = 0, with dU = E - p A dx.
        matrix, right = np.array(self.links), np.zeros(n)
        for i, r in enumerate(self.sp):
            stops = r[s.BUMP_K] * max(r[s.BUMP_AT] - x[i], 0) + r[s.REB_K] * max(
                x[i] - r[s.REB_AT], 0
            )
            spring = G * p[i] * area[i] ** 2 / vol[i] - (p[i] - baro) * r[s.SLOPE]
            matrix[i, i] += spring + 2 * stops
            right[i] = (G - 1) * area[i] / vol[i] * dU[i] - u[s.U_RAMP + i]
        dx = np.linalg.solve(matrix, right)
        for i in range(n):
            dU[i] -= p[i] * area[i] * dx[i]
        made = amps**2 * w[s.R_ARM] + 0.5 * work * turns
        made += w[s.FRICTION] * 2 * math.pi * turns if turns > 0 else 0.0
        wet = vapour(ta) * w[s.HUMIDITY]
        wet = 0.621945 * wet / (baro - wet)
        drain = amps + w[s.I_SLEEP]
        if u[s.U_ENGINE] > 0 and w[s.V_CHARGE] > w[s.OCV_FULL]:
            drain = -w[s.I_CHARGE] * (1 - charge)
        last = [
            (made - (y[e] - ta) / w[s.HEAD_RTH]) / w[s.HEAD_CAP],
            (amps**2 * joint - (y[e + 1] - ta) / w[s.CONN_RTH]) / w[s.CONN_CAP],
            1 / fuse_seconds(amps / w[s.FUSE_IN], w[s.FUSE_PLACE]) - y[e + 2] / w[s.FUSE_COOL],
            w[s.DRY_CAPTURE] * (1 - full) * wet * q - w[s.DRY_REGEN] * full * max(vented, 0),
            -drain / w[s.BATT_CAP],
        ]
        return np.concatenate([dm, dU, dx, last])


@dataclass
class Reference:
    time: np.ndarray
    heights: np.ndarray  # [m] of the springs, shape (springs, samples)
    masses: np.ndarray  # [kg], shape (volumes, samples)
    restarts: int
    evaluations: int


def simulate_reference(
    vehicle: VehicleParameters, script: Script, faults: tuple[TimedFault, ...] = (), seed: int = 0,
    rate: float = 1.0, rtol: float = 1e-8, method: str = "LSODA",
) -> Reference:  # fmt: skip
    n = len(vehicle.springs)
    start = initial_state(vehicle, script)
    nv = (len(start.values) - 11) // 2
    y = np.concatenate([start.values[: 2 * nv], np.zeros(n), start.values[2 * nv : 2 * nv + 5]])
    memory = start.memory.copy()
    edges, inputs = stretches(vehicle, script, faults, 0.0)
    times = np.arange(int(script.duration * rate + 1e-9) + 1) / rate
    out, at = np.empty((len(y), len(times))), 0
    cmd, tick_at, awake_until, asleep = np.zeros(8), 0, -1.0, True
    atol = np.concatenate(
        [np.full(nv, 1e-9), np.full(nv, 1e-4), np.full(n, 1e-8), (1e-5, 1e-5, 1e-6, 1e-9, 1e-8)]
    ) * (rtol / 1e-8)
    restarts = evaluations = 0
    decide = pointers()[1]
    for k, (a, end) in enumerate(pairwise(edges)):
        pack = s.pack(vehicle, [f for f in faults if f.onset <= a])
        plant, u, tick = (
            Plant(pack.wide, pack.springs, s.coupling(vehicle)),
            inputs[k],
            pack.control[s.K_TICK],
        )
        for fault in faults:
            if fault.onset == a:
                y[2 * nv + n + 3] += fault.severity * fault.change.dryer_water
                y[2 * nv + n + 4] -= fault.severity * fault.change.battery_charge_loss
        if u[s.U_ENGINE] > 0:
            awake_until = math.inf
        elif awake_until == math.inf:
            awake_until = a + pack.control[s.K_AFTER]
        if asleep and awake_until > a:
            asleep, tick_at = False, math.ceil(a / tick - 1e-9)
            memory[controller.M_WOKEN] = 1.0
        t = float(a)
        while t < end:
            to = end if asleep else min(end, t + 60.0)
            f = lambda tt, yy: plant.rates(tt, yy, u, cmd)  # noqa: B023, E731

            def burnt(_t: float, yy: np.ndarray) -> float:
                return float(yy[2 * nv + n + 2] - 1.0)

            burnt.terminal, burnt.direction = True, 1  # type: ignore[attr-defined]
            done = solve(
                f, (t, to), y, method=method, rtol=rtol, atol=atol, dense_output=True,
                events=None if cmd[3] else burnt,
            )  # fmt: skip
            assert done.success, done.message
            restarts, evaluations = restarts + 1, evaluations + done.nfev
            cut, new = float(done.t[-1]), cmd.copy()
            changed = done.status == 1
            if changed:
                new[3] = 1.0
            while not asleep and tick_at * tick <= cut:
                now = tick_at * tick
                tick_at += 1
                if now >= awake_until:
                    asleep, changed, cut = True, True, now
                    memory[controller.M_MODE] = 0.0
                    new[:] = 0.0
                    new[3] = cmd[3]
                    break
                yt = done.sol(now) if now > t else y
                supply, p_res = plant.seen(now, yt, u, cmd)
                seen = (
                    now, memory, pack.control, pack.sensors, pack.springs, pack.wide, u,
                    yt[2 * nv : 2 * nv + n].copy(), supply, yt[2 * nv + n], p_res, seed, new,
                )  # fmt: skip
                if _decide(decide, seen) > 0.0:
                    if now < cut:
                        new[3] = cmd[3]
                    changed, cut = True, now
                    break
            stop = int(np.searchsorted(times, cut, side="right"))
            if stop > at:
                out[:, at:stop] = done.sol(times[at:stop]) if cut > t else y[:, None]
                at = stop
            y = done.sol(cut) if cut > t else y
            cmd, t = new if changed else cmd, cut
    return Reference(
        time=times, heights=out[2 * nv : 2 * nv + n], masses=out[:nv], restarts=restarts,
        evaluations=evaluations,
    )  # fmt: skip
