"""Independent solutions of Richards' equation, for tests/data/richards.csv.

Not the method of src/column: the unknown is water content, space is a fine
even grid with central differences of D(θ)·dθ/dz, and time is scipy's BDF of
orders 1 to 5 with a tolerance far below the tests'. Sorptivities come from
integrals over water content (Philip 1957, Soil Sci. 83:345-357), without any
time step at all.

Needs numpy and scipy. Run: python contrib/reference/richards_vectors.py
Lengths in cm, times in s.
"""

import numpy as np
import scipy
from scipy.integrate import solve_ivp
from scipy.interpolate import PchipInterpolator


class VanGenuchten:
    def __init__(self, residual, saturated, alpha, n, ks):
        self.tr, self.ts, self.alpha, self.n, self.ks = residual, saturated, alpha, n, ks
        self.m = 1 - 1 / n

    def theta(self, s):
        return self.tr + (self.ts - self.tr) * (1 + (self.alpha * s) ** self.n) ** -self.m

    def k(self, s):
        se = (1 + (self.alpha * s) ** self.n) ** -self.m
        return self.ks * np.sqrt(se) * (1 - (1 - se ** (1 / self.m)) ** self.m) ** 2


class HaverkampSand:
    def theta(self, s):
        return 0.075 + (0.287 - 0.075) * 1.611e6 / (1.611e6 + s**3.96)

    def k(self, s):
        return 34 / 3600 * 1.175e6 / (1.175e6 + s**4.74)


class HaverkampYolo:
    """Haverkamp et al. 1977: θ over ln s for s >= 1 cm, saturated below."""

    def theta(self, s):
        x = np.log(np.maximum(s, 1.0))
        return 0.124 + (0.495 - 0.124) * 739 / (739 + x**4)

    def k(self, s):
        return 4.428e-2 / 3600 * 124.6 / (124.6 + s**1.77)


def by_theta(soil, dry, wet):
    """K and D over θ between two suctions, as smooth functions."""
    s = np.geomspace(wet, dry, 20001)
    theta, k = soil.theta(s)[::-1], soil.k(s)[::-1]
    keep = np.concatenate([[True], np.diff(theta) > 1e-13])
    theta, k, s = theta[keep], k[keep], s[::-1][keep]
    suction = PchipInterpolator(theta, s)
    slope = -np.gradient(np.log(s), theta) * s
    return PchipInterpolator(theta, k), PchipInterpolator(theta, k * slope), suction


def profile(soil, dry, wet, depth, cells, times):
    """θ at cell centres with the surface held at suction `wet`."""
    k, d, _ = by_theta(soil, dry, wet)
    dz = depth / cells
    low, high = soil.theta(dry), soil.theta(wet)

    def rate(_, theta):
        theta = np.clip(theta, low, high)
        q = np.empty(cells + 1)
        q[0] = -d((high + theta[0]) / 2) * (theta[0] - high) / (dz / 2) + k((high + theta[0]) / 2)
        mid = (theta[1:] + theta[:-1]) / 2
        q[1:-1] = -d(mid) * (theta[1:] - theta[:-1]) / dz + (k(theta[1:]) + k(theta[:-1])) / 2
        q[-1] = k(theta[-1])
        return -(q[1:] - q[:-1]) / dz

    band = np.eye(cells, dtype=bool)
    band |= np.eye(cells, k=1, dtype=bool) | np.eye(cells, k=-1, dtype=bool)
    start = np.full(cells, low)
    found = solve_ivp(rate, (0, times[-1]), start, method="BDF", t_eval=times, rtol=1e-6,
                      atol=1e-9, jac_sparsity=scipy.sparse.csr_matrix(band))
    assert found.success, found.message
    z = (np.arange(cells) + 0.5) * dz
    return z, found.y.T


def sorptivity(soil, dry, wet):
    """S of Philip's I = S√t + ..., by the flux concentration relation F(θ) of
    Philip & Knight (1974), iterated: S² = 2∫(θ - θ_dry) D/F dθ.
    """
    _, d, _ = by_theta(soil, dry, wet)
    low, high = float(soil.theta(dry)), float(soil.theta(wet))
    # Nodes crowd to the wet end, where D may have a pole.
    u = np.linspace(0, 1, 4001)
    theta = low + (high - low) * (1 - (1 - u) ** 3)
    dd = d(theta)
    flux = np.sqrt((theta - low) / (high - low))
    for _ in range(200):
        # λ(θ) = (2/S)∫_θ^wet D/F dθ', S² = 2∫(θ-θ_dry) D/F dθ
        integrand = np.where(flux > 0, dd / np.maximum(flux, 1e-300), 0)
        integrand[0] = integrand[1]
        s2 = 2 * np.trapezoid((theta - low) * integrand, theta)
        s = np.sqrt(s2)
        cumulative = scipy.integrate.cumulative_trapezoid(integrand, theta, initial=0)
        lam = 2 / s * (cumulative[-1] - cumulative)
        new = scipy.integrate.cumulative_trapezoid(lam, theta, initial=0) / s
        if np.max(np.abs(new - flux)) < 1e-12:
            break
        flux = new
    return s


def main():
    versions = f"numpy {np.__version__}, scipy {scipy.__version__}"
    print(f"# By contrib/reference/richards_vectors.py with {versions}.")
    print("problem,time_s,depth_cm,water_content")
    celia = VanGenuchten(0.102, 0.368, 0.0335, 2.0, 0.00922)
    cases = [
        ("celia", celia, 1000.0, 75.0, 100.0, 86400.0, range(10, 80, 5)),
        ("haverkamp-sand", HaverkampSand(), 61.5, 20.7, 40.0, 360.0, range(2, 24, 2)),
    ]
    for name, soil, dry, wet, depth, time, at in cases:
        answers = []
        for cells in (1000, 2000):
            z, theta = profile(soil, dry, wet, depth, cells, [time])
            answers.append(PchipInterpolator(z, theta[-1])(np.array(at)))
        assert np.max(np.abs(answers[0] - answers[1])) < 3e-5, "the grid is too coarse"
        for x, value in zip(at, answers[1]):
            print(f"{name},{time:.0f},{x},{value:.5f}")
    print("# sorptivity [cm/s^0.5] between two heads [cm]")
    print("# yolo -600 to -1:", sorptivity(HaverkampYolo(), 600.0, 1.0))
    print("# celia -1000 to -75:", sorptivity(celia, 1000.0, 75.0))


if __name__ == "__main__":
    main()
