//! One film, tabulated: A, B, C on a log grid of K X and S X at three anisotropies, interpolated smoothly.
//!
//! K and S mean the same at every anisotropy as long as light is diffuse; what remains of the anisotropy in a thin film is
//! a few percent of its light, enough to be seen over a ground that the card did not have.
//!
//! `cargo run --release --example make_table` remakes `table.bin` from [`super::transport`]; a test remakes nodes.

use std::sync::OnceLock;

use super::{Response, transport::Transport};

/// Anisotropies of the scattering that the table was made for, evenly spaced; between them a parabola.
pub const ANISOTROPIES: [f64; 3] = [0.0, 0.4, 0.8];
/// Least anisotropy that the table knows.
pub const EVEN: f64 = ANISOTROPIES[0];
/// Most anisotropy that it knows.
pub const MOST_FORWARD: f64 = ANISOTROPIES[2];
/// Quadrature directions of the table's transport.
pub const DIRECTIONS: usize = 12;
/// Nodes along each axis.
pub const NODES: usize = 57;
/// Least K X and S X of the grid; smaller ones count as this.
pub const LEAST: f64 = 1e-4;
/// Most K X and S X of the grid.
pub const MOST: f64 = 150.0;

/// Below these, logarithms stop: no light worth counting.
const LEAST_A: f64 = 1e-12;
const LEAST_B: f64 = 1e-14;

/// One unit in the last place of what is stored: far below the spline's own error between nodes.
const UNIT: f64 = 1.0 / (1 << 20) as f64;
/// Axes of the stored numbers as (length, step to the next along it, how often differences are taken along it).
const AXES: [(usize, usize, usize); 3] = [
    (NODES, 1, 2),
    (NODES, NODES, 2),
    (ANISOTROPIES.len(), NODES * NODES, 1),
];
/// How many numbers are stored.
const STORED_NUMBERS: usize = 3 * ANISOTROPIES.len() * NODES * NODES;

/// `table.bin`: log A, log B and C, each for every anisotropy, K X and S X (the innermost), in whole [`UNIT`]s. The functions
/// are smooth, so differences along every axis are small, and a third of the bytes do; see [`pack`].
static STORED: &[u8] = include_bytes!("table.bin");

/// A film's response and how it changes with the logarithms of K X and S X and with the anisotropy.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Slopes {
    /// The response itself.
    pub at: Response,
    /// Change per unit log(K X).
    pub by_absorption: Response,
    /// Change per unit log(S X).
    pub by_scattering: Response,
    /// Change per unit anisotropy.
    pub by_anisotropy: Response,
}

impl Slopes {
    /// Seen over a ground of internal reflectance `rho`, and its change per unit log(K X), log(S X) and anisotropy.
    #[inline]
    pub fn over(&self, rho: f64) -> [f64; 4] {
        let gain = 1.0 / (1.0 - self.at.c * rho);
        let crossed = rho * gain;
        let returned = self.at.b * crossed * crossed;
        let change = |d: &Response| d.a + d.b * crossed + d.c * returned;
        [
            self.at.a + self.at.b * crossed,
            change(&self.by_absorption),
            change(&self.by_scattering),
            change(&self.by_anisotropy),
        ]
    }
}

/// Bicubic B-spline through the nodes of log A, log B and C.
#[derive(Debug, Clone)]
pub struct Table {
    /// (NODES + 2) x (NODES + 2) coefficients of the three functions, at each anisotropy.
    coefficients: Vec<[[f64; 3]; ANISOTROPIES.len()]>,
}

const SIDE: usize = NODES + 2;

/// Logarithm of the grid's node `i`.
fn node(i: usize) -> f64 {
    libm::log(LEAST) + spacing() * i as f64
}

fn spacing() -> f64 {
    (libm::log(MOST) - libm::log(LEAST)) / (NODES - 1) as f64
}

/// What the table stores at node (`i` of K X, `j` of S X): log A, log B, C by exact transport.
pub fn make_node(transport: &Transport<DIRECTIONS>, i: usize, j: usize) -> [f64; 3] {
    let film = transport.film(libm::exp(node(i)), libm::exp(node(j)), 1.0);
    let r = transport.stack(&[&film]);
    [
        libm::log(r.a.max(LEAST_A)),
        libm::log(r.b.max(LEAST_B)),
        r.c,
    ]
}

/// Where function `f` at anisotropy number `g` and node (`i`, `j`) stands among the stored numbers.
fn place(f: usize, g: usize, i: usize, j: usize) -> usize {
    ((f * ANISOTROPIES.len() + g) * NODES + i) * NODES + j
}

/// The whole table as it is stored.
pub fn make() -> Vec<u8> {
    let mut numbers = vec![0; STORED_NUMBERS];
    for (g, anisotropy) in ANISOTROPIES.into_iter().enumerate() {
        let transport = Transport::<DIRECTIONS>::new(anisotropy);
        for i in 0..NODES {
            for j in 0..NODES {
                for (f, value) in make_node(&transport, i, j).into_iter().enumerate() {
                    numbers[place(f, g, i, j)] = libm::round(value / UNIT) as i64;
                }
            }
        }
    }
    pack(numbers)
}

/// Differences along [`AXES`], signs folded into the lowest bit, seven bits a byte with the low ones first (LEB128).
fn pack(mut numbers: Vec<i64>) -> Vec<u8> {
    for (length, step, times) in AXES {
        for _ in 0..times {
            for at in (step..numbers.len()).rev() {
                if at / step % length > 0 {
                    numbers[at] -= numbers[at - step];
                }
            }
        }
    }
    let mut bytes = Vec::new();
    for number in numbers {
        let mut folded = ((number << 1) ^ (number >> 63)) as u64;
        while folded >= 0x80 {
            bytes.push(folded as u8 | 0x80);
            folded >>= 7;
        }
        bytes.push(folded as u8);
    }
    bytes
}

/// What [`pack`] was given.
fn unpack(bytes: &[u8]) -> Vec<i64> {
    let mut numbers = Vec::with_capacity(STORED_NUMBERS);
    let (mut folded, mut shift) = (0_u64, 0);
    for byte in bytes {
        folded |= u64::from(byte & 0x7f) << shift;
        shift += 7;
        if byte & 0x80 == 0 {
            numbers.push((folded >> 1) as i64 ^ -((folded & 1) as i64));
            (folded, shift) = (0, 0);
        }
    }
    for (length, step, times) in AXES {
        for _ in 0..times {
            for at in step..numbers.len() {
                if at / step % length > 0 {
                    numbers[at] += numbers[at - step];
                }
            }
        }
    }
    numbers
}

impl Table {
    /// The stored table, unpacked once.
    pub fn shared() -> &'static Self {
        static TABLE: OnceLock<Table> = OnceLock::new();
        TABLE.get_or_init(|| {
            let numbers = unpack(STORED);
            Self::through(|g, i, j| [0, 1, 2].map(|f| numbers[place(f, g, i, j)] as f64 * UNIT))
        })
    }

    /// A table through given nodes.
    fn through(at: impl Fn(usize, usize, usize) -> [f64; 3]) -> Self {
        let mut coefficients = vec![[[0.0; 3]; ANISOTROPIES.len()]; SIDE * SIDE];
        for g in 0..ANISOTROPIES.len() {
            for function in 0..3 {
                // First along S for every row of nodes, then along K for every column of the result.
                let row = |i: usize| {
                    let values: Vec<f64> = (0..NODES).map(|j| at(g, i, j)[function]).collect();
                    spline_coefficients(&values)
                };
                let rows: Vec<Vec<f64>> = (0..NODES).map(row).collect();
                for j in 0..SIDE {
                    let column: Vec<f64> = rows.iter().map(|row| row[j]).collect();
                    for (i, c) in spline_coefficients(&column).into_iter().enumerate() {
                        coefficients[i * SIDE + j][g][function] = c;
                    }
                }
            }
        }
        Self { coefficients }
    }

    /// Response of one film of K X = `kx`, S X = `sx` and scattering of `anisotropy`, with its slopes. Below the table's lower
    /// end nothing changes any more; a film beyond its upper end is opaque, so that only K/S counts.
    pub fn slopes(&self, kx: f64, sx: f64, anisotropy: f64) -> Slopes {
        let most = kx.max(sx);
        if most > MOST {
            let mut opaque = self.inside(kx * (MOST / most), sx * (MOST / most), anisotropy);
            let none = |r: &Response| Response {
                a: -r.a,
                b: -r.b,
                c: -r.c,
            };
            // The larger of the two stays at the end; its growth is the other's fall.
            if kx > sx {
                opaque.by_absorption = none(&opaque.by_scattering);
            } else {
                opaque.by_scattering = none(&opaque.by_absorption);
            }
            return opaque;
        }
        self.inside(kx, sx, anisotropy)
    }

    fn inside(&self, kx: f64, sx: f64, anisotropy: f64) -> Slopes {
        let (i, u, du) = basis(kx);
        let (j, v, dv) = basis(sx);
        let (w, dw) = parabola(anisotropy);
        let mut value = [0.0; 3];
        let mut by_k = [0.0; 3];
        let mut by_s = [0.0; 3];
        let mut by_g = [0.0; 3];
        for p in 0..4 {
            for q in 0..4 {
                let [c0, c1, c2] = &self.coefficients[(i + p) * SIDE + j + q];
                let (here, along_k, along_s) = (u[p] * v[q], du[p] * v[q], u[p] * dv[q]);
                for f in 0..3 {
                    let c = w[0] * c0[f] + w[1] * c1[f] + w[2] * c2[f];
                    value[f] += here * c;
                    by_k[f] += along_k * c;
                    by_s[f] += along_s * c;
                    by_g[f] += here * (dw[0] * c0[f] + dw[1] * c1[f] + dw[2] * c2[f]);
                }
            }
        }
        let (a, b) = (libm::exp(value[0]), libm::exp(value[1]));
        let change = |d: [f64; 3]| Response {
            a: a * d[0],
            b: b * d[1],
            c: d[2],
        };
        Slopes {
            at: Response { a, b, c: value[2] },
            by_absorption: change(by_k),
            by_scattering: change(by_s),
            by_anisotropy: change(by_g),
        }
    }

    /// Response of one film of K X = `kx`, S X = `sx` and scattering of `anisotropy`.
    pub fn film(&self, kx: f64, sx: f64, anisotropy: f64) -> Response {
        self.slopes(kx, sx, anisotropy).at
    }
}

/// Weights of the three anisotropies of the table, and their slopes (Lagrange).
fn parabola(anisotropy: f64) -> ([f64; 3], [f64; 3]) {
    let [first, middle, last] = ANISOTROPIES;
    let step = middle - first;
    let t = (anisotropy.clamp(first, last) - middle) / step;
    let h = if (first..=last).contains(&anisotropy) {
        1.0 / step
    } else {
        0.0
    };
    (
        [0.5 * t * (t - 1.0), 1.0 - t * t, 0.5 * t * (t + 1.0)],
        [(t - 0.5) * h, -2.0 * t * h, (t + 0.5) * h],
    )
}

/// First of the four coefficients that matter at `x`, their weights, and the weights' slopes per unit log x.
fn basis(x: f64) -> (usize, [f64; 4], [f64; 4]) {
    let inside = (LEAST..=MOST).contains(&x);
    let position = (libm::log(x.clamp(LEAST, MOST)) - node(0)) / spacing();
    let cell = (position as usize).min(NODES - 2);
    let t = position - cell as f64;
    let (t2, s) = (t * t, 1.0 - t);
    let weights = [
        s * s * s / 6.0,
        (4.0 - 6.0 * t2 + 3.0 * t2 * t) / 6.0,
        (1.0 + 3.0 * t + 3.0 * t2 - 3.0 * t2 * t) / 6.0,
        t2 * t / 6.0,
    ];
    // Below the grid nothing changes any more.
    let h = if inside { 1.0 / spacing() } else { 0.0 };
    let slopes = [
        -0.5 * s * s * h,
        (-2.0 * t + 1.5 * t2) * h,
        (0.5 + t - 1.5 * t2) * h,
        0.5 * t2 * h,
    ];
    (cell, weights, slopes)
}

/// Coefficients of the cubic B-spline through equally spaced values, straight at its ends (natural).
fn spline_coefficients(values: &[f64]) -> Vec<f64> {
    let n = values.len();
    let mut c = vec![0.0; n + 2];
    // Natural ends make the end coefficients the values themselves; between them (1, 4, 1)/6 by the Thomas algorithm.
    c[1] = values[0];
    c[n] = values[n - 1];
    let mut ratio = vec![0.0; n];
    let mut right = vec![0.0; n];
    for i in 1..n - 1 {
        let before = if i == 1 {
            (0.0, values[0])
        } else {
            (ratio[i - 1], right[i - 1])
        };
        let last = if i == n - 2 { values[n - 1] } else { 0.0 };
        let pivot = 4.0 - before.0;
        ratio[i] = 1.0 / pivot;
        right[i] = (6.0 * values[i] - before.1 - last) / pivot;
    }
    for i in (1..n - 1).rev() {
        c[i + 1] = right[i] - if i == n - 2 { 0.0 } else { ratio[i] * c[i + 2] };
    }
    c[0] = 2.0 * c[1] - c[2];
    c[n + 1] = 2.0 * c[n] - c[n - 1];
    c
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn stored_nodes_are_what_transport_makes() {
        let numbers = unpack(STORED);
        assert_eq!(numbers.len(), STORED_NUMBERS);
        assert_eq!(pack(numbers.clone()), STORED);
        for (g, anisotropy) in ANISOTROPIES.into_iter().enumerate() {
            let transport = Transport::<DIRECTIONS>::new(anisotropy);
            for i in (0..NODES).step_by(7) {
                for j in (0..NODES).step_by(5) {
                    let made = make_node(&transport, i, j);
                    for (f, made) in made.into_iter().enumerate() {
                        let stored = numbers[place(f, g, i, j)] as f64 * UNIT;
                        // Mathematics of another machine may round the other way.
                        assert!(
                            (made - stored).abs() <= 0.51 * UNIT + 1e-9,
                            "node {g} {i} {j}: {made} {stored}"
                        );
                    }
                }
            }
        }
    }

    /// Largest difference from transport in reflectance seen, between the nodes of K X and S X.
    fn worst(anisotropy: f64) -> f64 {
        let transport = Transport::<DIRECTIONS>::new(anisotropy);
        let mut worst: f64 = 0.0;
        for i in 0..40 {
            for j in 0..40 {
                let kx = libm::pow(10.0, -3.3 + 0.11 * f64::from(i));
                let sx = libm::pow(10.0, -3.3 + 0.11 * f64::from(j));
                let exact = transport.stack(&[&transport.film(kx, sx, 1.0)]);
                let quick = Table::shared().film(kx, sx, anisotropy);
                for rho in [0.0, 0.2, 0.9] {
                    worst = worst.max((exact.over(rho) - quick.over(rho)).abs());
                }
            }
        }
        worst
    }

    /// A hundred films of a white were once as dark as twenty: its S stopped at the table's end and its K did not.
    #[test]
    fn beyond_its_end_a_film_keeps_its_colour() {
        let table = Table::shared();
        for (k, s) in [(0.01, 14.0), (3.0, 0.12), (0.4, 0.5)] {
            let end = MOST / libm::fmax(k, s);
            let at = |factor: f64| {
                table
                    .slopes(factor * k * end, factor * s * end, 0.4)
                    .over(0.3)
            };
            for (inside, beyond) in at(0.999).into_iter().zip(at(9.0)) {
                assert!(
                    (inside - beyond).abs() < 0.004,
                    "{k} {s}: {inside} {beyond}"
                );
            }
        }
    }

    #[test]
    fn between_nodes_it_agrees_with_transport() {
        for anisotropy in ANISOTROPIES {
            assert!(worst(anisotropy) < 1e-4, "{}", worst(anisotropy));
        }
    }

    #[test]
    fn between_anisotropies_it_agrees_with_transport() {
        for anisotropy in [0.1, 0.2, 0.3, 0.5, 0.6, 0.7] {
            assert!(worst(anisotropy) < 1e-3, "{}", worst(anisotropy));
        }
    }

    #[test]
    fn slopes_are_the_differences() {
        for (kx, sx, g) in [
            (0.01, 0.3, 0.1),
            (1.7, 0.02, 0.4),
            (4.0, 9.0, 0.7),
            (0.3, 40.0, 0.55),
        ] {
            let [_, by_k, by_s, by_g] = Table::shared().slopes(kx, sx, g).over(0.7);
            let h = 1e-5;
            let at = |k: f64, s: f64, g: f64| Table::shared().film(k, s, g).over(0.7);
            let k = (at(kx * (1.0 + h), sx, g) - at(kx * (1.0 - h), sx, g)) / (2.0 * h);
            let s = (at(kx, sx * (1.0 + h), g) - at(kx, sx * (1.0 - h), g)) / (2.0 * h);
            let a = (at(kx, sx, g + h) - at(kx, sx, g - h)) / (2.0 * h);
            assert!(
                (k - by_k).abs() < 1e-6 && (s - by_s).abs() < 1e-6 && (a - by_g).abs() < 1e-6,
                "{k} {by_k} {s} {by_s} {a} {by_g}"
            );
        }
    }

    #[test]
    fn outside_the_grid_nothing_changes() {
        let [_, by_k, _, by_g] = Table::shared().slopes(1e-6, 1.0, 0.9).over(0.5);
        assert_eq!((by_k, by_g), (0.0, 0.0));
        assert_eq!(
            Table::shared().film(1e-9, 1.0, -0.1),
            Table::shared().film(LEAST, 1.0, 0.0)
        );
    }
}
