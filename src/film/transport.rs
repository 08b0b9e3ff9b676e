//! Exact light transport through stacks of plane films: adding-doubling.
//!
//! van de Hulst, Multiple Light Scattering (1980); Prahl, van Gemert and Welch, Appl. Opt. 32 (1993) 559. Films of index
//! [`surface::INDEX`] lie in optical contact with each other and with a Lambertian ground; above is air. Directions are
//! a quadrature split at the critical angle (Gauss below it, Radau with the vertical above it). Scattering is
//! Henyey-Greenstein of anisotropy g, delta-M scaled (Wiscombe, J. Atmos. Sci. 34 (1977) 1408).
//!
//! Everything is kept in the basis `sqrt(2 nu w)` of the fluxes, where the matrices of a single film are symmetric.
//!
//! K and S are two-flux units: K = 2 mu_a and S = 3/4 mu_s (1 - g) per unit build (Mudgett and Richards, Appl. Opt. 10
//! (1971) 1485, from memory).

mod above;

pub use above::{Above, Around};

use super::{Response, dense, dense::Square, surface};

/// Start of the doubling, as a share of the flattest direction's cosine: there the diamond rule's error, (start/nu)^2/12
/// per unit of optical path, is below 1e-4.
const START: f64 = 1.0 / 32.0;
/// Highest single scattering albedo: a film that loses nothing at all makes thick layers singular.
const MOST_ALBEDO: f64 = 1.0 - 1e-9;

/// Transport for one anisotropy, with `N` directions (an even number).
#[derive(Debug, Clone)]
pub struct Transport<const N: usize> {
    anisotropy: f64,
    /// Cosines of the directions, rising; the last is 1.
    nu: [f64; N],
    /// sqrt(2 nu w).
    root: [f64; N],
    /// Fresnel reflectance of the paint-to-air surface from inside.
    inner: [f64; N],
    /// Redistribution from one direction to another on the same side and to the other side, divided by sqrt(nu nu / w w).
    same: Square<N>,
    back: Square<N>,
    /// Weights that interpolate a smooth function of direction to the refracted 45 degrees.
    at_45: [f64; N],
}

/// Reflection and transmission of one bare film, symmetric.
#[derive(Debug, Clone)]
pub struct Layer<const N: usize> {
    reflection: Square<N>,
    transmission: Square<N>,
}

/// Films on a ground, before the surface closes them off.
///
/// Under the films lies a ground rho; with every film added the whole stays of the form
/// `R + rho u u^T / (1 - rho s)`: what returns without the ground (R), what reaches and leaves it (u), what comes back
/// to it (s). Bare ground: R = 0, u = root, s = 0.
#[derive(Debug, Clone)]
pub struct Laid<const N: usize> {
    r: Square<N>,
    u: [f64; N],
    s: f64,
}

impl<const N: usize> Laid<N> {
    /// The same with one more film on top.
    pub fn under(&self, film: &Layer<N>) -> Self {
        // (1 - R r)^-1 applied to [R t | u].
        let one_minus = one_minus_product(&self.r, &film.reflection);
        let rt = dense::product(&self.r, &film.transmission);
        let (back, lifted) = dense::solve_both(one_minus, rt, self.u);
        let s = self.s + dense::dot(&self.u, &dense::apply(&film.reflection, &lifted));
        let mut r = dense::product(&film.transmission, &back);
        for i in 0..N {
            for j in 0..N {
                r[i][j] += film.reflection[i][j];
            }
        }
        let u = dense::apply(&film.transmission, &lifted);
        Self { r, u, s }
    }
}

impl<const N: usize> Transport<N> {
    /// Directions and redistribution for scattering of `anisotropy` (0 to below 1).
    pub fn new(anisotropy: f64) -> Self {
        assert!(
            N >= 4 && N.is_multiple_of(2),
            "directions come in two halves"
        );
        let critical = (1.0 - 1.0 / (surface::INDEX * surface::INDEX)).sqrt();
        let half = N / 2;
        let mut nu = [0.0; N];
        let mut weight = [0.0; N];
        for (i, (x, w)) in gauss(half).into_iter().enumerate() {
            nu[i] = critical * 0.5 * (1.0 + x);
            weight[i] = critical * 0.5 * w;
        }
        for (i, (x, w)) in radau(half).into_iter().enumerate() {
            nu[half + i] = critical + (1.0 - critical) * 0.5 * (1.0 + x);
            weight[half + i] = (1.0 - critical) * 0.5 * w;
        }
        let mut same = dense::zero();
        let mut back = dense::zero();
        for i in 0..N {
            for j in 0..N {
                let (mut forward, mut backward) = (0.0, 0.0);
                for order in 0..N {
                    let share = delta_m_moment(anisotropy, order, N)
                        * (2 * order + 1) as f64
                        * legendre(order, nu[i])
                        * legendre(order, nu[j]);
                    forward += share;
                    backward += if order % 2 == 0 { share } else { -share };
                }
                let scale = 0.5 * (weight[i] / nu[i]).sqrt() * (weight[j] / nu[j]).sqrt();
                same[i][j] = forward * scale;
                back[i][j] = backward * scale;
            }
        }
        let cosine_45 = (1.0 - 0.5 / (surface::INDEX * surface::INDEX)).sqrt();
        Self {
            anisotropy,
            root: std::array::from_fn(|i| (2.0 * nu[i] * weight[i]).sqrt()),
            inner: std::array::from_fn(|i| surface::fresnel(surface::INDEX, nu[i])),
            same,
            back,
            at_45: lagrange_weights(&nu, half, cosine_45),
            nu,
        }
    }

    /// Anisotropy g of the scattering.
    pub fn anisotropy(&self) -> f64 {
        self.anisotropy
    }

    /// One bare film of absorption `k` and scattering `s` per unit build (two-flux units, both at least 0).
    pub fn film(&self, k: f64, s: f64, build: f64) -> Layer<N> {
        let Some((albedo, depth)) = self.optics(k, s, build) else {
            return Layer {
                reflection: dense::zero(),
                transmission: dense::identity(),
            };
        };
        let mut doublings = 0;
        let mut start = depth;
        while start > START * self.nu[0] {
            start *= 0.5;
            doublings += 1;
        }
        let mut layer = self.diamond(albedo, start);
        for _ in 0..doublings {
            layer = layer.doubled();
        }
        layer
    }

    /// Albedo and optical depth of a film, if it is any.
    fn optics(&self, k: f64, s: f64, build: f64) -> Option<(f64, f64)> {
        let absorb = 0.5 * k;
        let scatter = 4.0 / 3.0 * s / (1.0 - self.anisotropy);
        let depth = (absorb + scatter) * build;
        if depth <= 0.0 {
            return None;
        }
        let albedo = (scatter / (absorb + scatter)).min(MOST_ALBEDO);
        // Delta-M: the share g^N that goes straight on counts as not scattered.
        let straight = albedo * libm::pow(self.anisotropy, N as f64);
        Some((
            (albedo - straight) / (1.0 - straight),
            depth * (1.0 - straight),
        ))
    }

    /// The film of [`Transport::film`] a little thicker, to first order in the logarithm `more` of its build: a thin film of the same laid
    /// on it (invariant imbedding), which costs a fraction of another film.
    ///
    /// With P = 1/nu - albedo same and Q = albedo back, dR = Q - P R - R P + R Q R and dT = (R Q - P) T.
    pub fn thicker(&self, (k, s, build): (f64, f64, f64), film: &Layer<N>, more: f64) -> Layer<N> {
        let Some((albedo, depth)) = self.optics(k, s, build) else {
            return film.clone();
        };
        let mut p = dense::zero();
        let mut q = dense::zero();
        for i in 0..N {
            p[i][i] = more * depth / self.nu[i];
            for j in 0..N {
                p[i][j] -= more * depth * albedo * self.same[i][j];
                q[i][j] = more * depth * albedo * self.back[i][j];
            }
        }
        let Layer {
            reflection: r,
            transmission: t,
        } = film;
        let mut on = dense::product(r, &q);
        for (row, p) in on.iter_mut().zip(&p) {
            for (value, p) in row.iter_mut().zip(p) {
                *value -= p;
            }
        }
        let (onto_r, onto_t) = (dense::product(&on, r), dense::product(&on, t));
        let from = dense::product(r, &p);
        Layer {
            reflection: std::array::from_fn(|i| {
                std::array::from_fn(|j| r[i][j] + q[i][j] + onto_r[i][j] - from[i][j])
            }),
            transmission: std::array::from_fn(|i| std::array::from_fn(|j| t[i][j] + onto_t[i][j])),
        }
    }

    /// A film so thin that light changes linearly through it (diamond initialisation, Wiscombe 1976).
    ///
    /// With P = (1/nu - albedo same) d/2 and Q = albedo back d/2, G = (1+P)^-1 Q:
    /// R = (1 - G G)^-1 2 G (1+P)^-1 and T = 2 (1+P)^-1 + G R - 1.
    fn diamond(&self, albedo: f64, depth: f64) -> Layer<N> {
        let mut one_plus_p = dense::identity();
        let mut q = dense::zero();
        for i in 0..N {
            one_plus_p[i][i] += 0.5 * depth / self.nu[i];
            for j in 0..N {
                one_plus_p[i][j] -= 0.5 * depth * albedo * self.same[i][j];
                q[i][j] = 0.5 * depth * albedo * self.back[i][j];
            }
        }
        let inverse = dense::solve(one_plus_p, dense::identity());
        let g = dense::product(&inverse, &q);
        let mut rest = dense::product(&g, &g);
        let mut right = dense::product(&g, &inverse);
        for i in 0..N {
            for j in 0..N {
                rest[i][j] = if i == j { 1.0 } else { 0.0 } - rest[i][j];
                right[i][j] *= 2.0;
            }
        }
        let reflection = dense::solve(rest, right);
        let mut transmission = dense::product(&g, &reflection);
        for i in 0..N {
            for j in 0..N {
                transmission[i][j] += 2.0 * inverse[i][j] - if i == j { 1.0 } else { 0.0 };
            }
        }
        Layer {
            reflection,
            transmission,
        }
    }

    /// How films, listed from the bottom up, answer any Lambertian ground below them. No films at all give the surface alone.
    pub fn stack(&self, films: &[&Layer<N>]) -> Response {
        let bare = self.bare();
        self.seen(&films.iter().fold(bare, |laid, film| laid.under(film)))
    }

    /// A ground with nothing on it yet.
    pub fn bare(&self) -> Laid<N> {
        Laid {
            r: dense::zero(),
            u: self.root,
            s: 0.0,
        }
    }

    /// How films that are laid answer any ground, the surface closing them off.
    pub fn seen(&self, laid: &Laid<N>) -> Response {
        self.open().seen(laid)
    }
}

impl<const N: usize> Layer<N> {
    /// Two of these on top of each other, by symmetry through one Cholesky factor of 1 - R R:
    /// T' = T (1 - R R)^-1 T and R' = R + T (1 - R R)^-1 R T.
    fn doubled(&self) -> Self {
        let mut factor = one_minus_product(&self.reflection, &self.reflection);
        dense::cholesky(&mut factor);
        let mut rt = dense::product(&self.reflection, &self.transmission);
        let mut t = self.transmission;
        dense::forward_solve(&factor, &mut t);
        dense::forward_solve(&factor, &mut rt);
        let mut reflection = dense::transposed_product(&t, &rt);
        for (row, old) in reflection.iter_mut().zip(&self.reflection) {
            for (value, old) in row.iter_mut().zip(old) {
                *value += old;
            }
        }
        Self {
            reflection,
            transmission: dense::transposed_product(&t, &t),
        }
    }

    /// This film, changed from `here` as [`Transport::thicker`] does, less the change from `here` to `other`.
    pub fn without(&self, other: &Self, here: &Self) -> Self {
        let less = |all: &Square<N>, other: &Square<N>, here: &Square<N>| -> Square<N> {
            std::array::from_fn(|i| std::array::from_fn(|j| all[i][j] - other[i][j] + here[i][j]))
        };
        Self {
            reflection: less(&self.reflection, &other.reflection, &here.reflection),
            transmission: less(&self.transmission, &other.transmission, &here.transmission),
        }
    }

    /// Reflected and transmitted share of diffuse light (the same from either side), without any surface.
    pub fn diffuse(&self, transport: &Transport<N>) -> (f64, f64) {
        let root = &transport.root;
        (
            dense::dot(root, &dense::apply(&self.reflection, root)),
            dense::dot(root, &dense::apply(&self.transmission, root)),
        )
    }

    /// Reflected and transmitted share of light that comes straight down, without any surface.
    pub fn straight(&self, transport: &Transport<N>) -> (f64, f64) {
        let root = &transport.root;
        let last = N - 1;
        (
            dense::dot(root, &self.reflection[last]) / root[last],
            dense::dot(root, &self.transmission[last]) / root[last],
        )
    }
}

#[inline(never)]
fn one_minus_product<const N: usize>(a: &Square<N>, b: &Square<N>) -> Square<N> {
    let mut m = dense::product(a, b);
    for (i, row) in m.iter_mut().enumerate() {
        for (j, value) in row.iter_mut().enumerate() {
            *value = if i == j { 1.0 } else { 0.0 } - *value;
        }
    }
    m
}

/// Moment of the Henyey-Greenstein phase function with its forward peak taken out.
fn delta_m_moment(g: f64, order: usize, directions: usize) -> f64 {
    let peak = libm::pow(g, directions as f64);
    if order == 0 {
        1.0
    } else {
        (libm::pow(g, order as f64) - peak) / (1.0 - peak)
    }
}

/// Legendre polynomial P_n(x) by its three-term recurrence.
fn legendre(n: usize, x: f64) -> f64 {
    let (mut before, mut now) = (1.0, x);
    if n == 0 {
        return before;
    }
    for k in 1..n {
        let k = k as f64;
        (before, now) = (now, ((2.0 * k + 1.0) * x * now - k * before) / (k + 1.0));
    }
    now
}

/// Gauss-Legendre points and weights on -1 to 1, rising (Abramowitz and Stegun 25.4.29).
fn gauss(n: usize) -> Vec<(f64, f64)> {
    roots(n, |x| legendre(n, x))
        .into_iter()
        .map(|x| {
            let slope = n as f64 * (x * legendre(n, x) - legendre(n - 1, x)) / (x * x - 1.0);
            (x, 2.0 / ((1.0 - x * x) * slope * slope))
        })
        .collect()
}

/// Gauss-Radau points and weights on -1 to 1, rising, the last at 1 (Abramowitz and Stegun 25.4.31, mirrored).
fn radau(n: usize) -> Vec<(f64, f64)> {
    let scale = (n * n) as f64;
    let mut points: Vec<_> = roots(n - 1, |x| (legendre(n - 1, x) - legendre(n, x)) / (1.0 - x))
        .into_iter()
        .map(|x| {
            (
                x,
                (1.0 + x) / (scale * legendre(n - 1, x) * legendre(n - 1, x)),
            )
        })
        .collect();
    points.push((1.0, 2.0 / scale));
    points
}

/// The `count` simple roots of `f` inside -1 to 1, rising, by bracketing and bisection.
fn roots(count: usize, f: impl Fn(f64) -> f64) -> Vec<f64> {
    const STEPS: usize = 4000;
    // Steps narrow towards the ends, as the roots do.
    let at =
        |i: usize| -libm::cos(std::f64::consts::PI * (i as f64 + 0.37) / (STEPS as f64 + 0.74));
    let mut found = Vec::with_capacity(count);
    for i in 0..STEPS {
        let (mut low, mut high) = (at(i), at(i + 1));
        if f(low) * f(high) < 0.0 {
            for _ in 0..80 {
                let middle = 0.5 * (low + high);
                if f(low) * f(middle) <= 0.0 {
                    high = middle
                } else {
                    low = middle
                }
            }
            found.push(0.5 * (low + high));
        }
    }
    assert_eq!(
        found.len(),
        count,
        "every root of the quadrature polynomial is bracketed"
    );
    found
}

/// Weights of the polynomial through the points from `first` on, at `x`; zero for the points before.
fn lagrange_weights<const N: usize>(points: &[f64; N], first: usize, x: f64) -> [f64; N] {
    std::array::from_fn(|i| {
        if i < first {
            return 0.0;
        }
        (first..N)
            .filter(|&j| j != i)
            .map(|j| (x - points[j]) / (points[i] - points[j]))
            .product()
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Two numbers every transport code is tested on (from memory, quoted by Prahl 1993 and by Wang, Jacques and Zheng,
    /// Comput. Methods Programs Biomed. 47 (1995) 131): van de Hulst's slab and Giovanelli's half space.
    #[test]
    fn published_slab_and_half_space() {
        // Slab of optical depth 2, albedo 0.9, g 0.75, matched index, lit straight down: R 0.09739, T 0.66096.
        let t = Transport::<24>::new(0.75);
        let (mu_a, mu_s) = (0.1, 0.9);
        let film = t.film(2.0 * mu_a, 0.75 * mu_s * 0.25, 2.0);
        let (r, through) = film.straight(&t);
        assert!((r - 0.09739).abs() < 2e-5, "{r}");
        assert!((through - 0.66096).abs() < 2e-5, "{through}");
    }

    #[test]
    fn no_film_leaves_the_surface_alone() {
        let t = Transport::<12>::new(0.4);
        let bare = t.stack(&[]);
        assert!((bare.b - surface::ENTRY).abs() < 1e-9);
        assert!((bare.c - surface::INNER).abs() < 2e-3, "{}", bare.c);
    }

    #[test]
    fn two_halves_are_one_film() {
        let t = Transport::<8>::new(0.4);
        let whole = t.stack(&[&t.film(0.7, 1.3, 1.0)]);
        let half = t.film(0.7, 1.3, 0.5);
        let halves = t.stack(&[&half, &half]);
        for (x, y) in [
            (whole.a, halves.a),
            (whole.b, halves.b),
            (whole.c, halves.c),
        ] {
            assert!((x - y).abs() < 1e-12, "{x} {y}");
        }
    }
}
