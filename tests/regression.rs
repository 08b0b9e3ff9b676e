//! The solver behind every fit on certified problems.
//!
//! Source: NIST Statistical Reference Datasets, nonlinear regression, in the public domain (`tests/data/nist/README.md`). Unknowns are the
//! logarithms of the parameters, as in the product's own fits, and hardly anything is known of them before.

use std::{fs, path::Path};

use nalgebra::{DMatrix, DVector};
use twoground::fit::descent::{Known, Measured, Model, Problem, Says};

/// A file of the collection.
struct Certified {
    /// Two starts, by parameter.
    starts: [Vec<f64>; 2],
    /// Parameters and their standard deviations.
    answer: Vec<(f64, f64)>,
    /// Residual sum of squares.
    squares: f64,
    /// Residual standard deviation.
    spread: f64,
    /// Response and predictor.
    data: Vec<(f64, f64)>,
}

impl Certified {
    fn read(name: &str) -> Self {
        let path =
            Path::new(env!("CARGO_MANIFEST_DIR")).join(format!("tests/data/nist/{name}.dat"));
        let text = fs::read_to_string(&path).unwrap_or_else(|e| panic!("{}: {e}", path.display()));
        let numbers = |line: &str| -> Vec<f64> {
            line.split_whitespace()
                .map(|n| n.parse().unwrap_or_else(|_| panic!("{name}: {line}")))
                .collect()
        };
        let after = |title: &str| -> f64 {
            let line = text.lines().find_map(|line| line.strip_prefix(title));
            numbers(line.expect(title))[0]
        };
        let parameters: Vec<Vec<f64>> = text
            .lines()
            .filter_map(|line| line.trim_start().strip_prefix('b')?.split_once(" ="))
            .map(|(_, line)| numbers(line))
            .collect();
        let heading =
            |line: &&str| line.starts_with("Data:") && line.split_whitespace().nth(1) == Some("y");
        let table = text.lines().skip_while(|line| !heading(line)).skip(1);
        Self {
            starts: [0, 1].map(|start| parameters.iter().map(|p| p[start]).collect()),
            answer: parameters.iter().map(|p| (p[2], p[3])).collect(),
            squares: after("Residual Sum of Squares:"),
            spread: after("Residual Standard Deviation:"),
            data: table
                .filter(|line| !line.trim().is_empty())
                .map(|line| (numbers(line)[0], numbers(line)[1]))
                .collect(),
        }
    }
}

/// A curve y(x) of positive parameters b. Slopes by central differences, which are within 1e-8 here.
struct Curve<'a> {
    at: fn(&[f64], f64) -> f64,
    data: &'a [(f64, f64)],
}

impl Model for Curve<'_> {
    fn see(&self, logs: &DVector<f64>) -> (Vec<f64>, DMatrix<f64>) {
        const H: f64 = 1e-5;
        let seen = |logs: &DVector<f64>| -> Vec<f64> {
            let b: Vec<f64> = logs.iter().map(|log| log.exp()).collect();
            self.data.iter().map(|&(_, x)| (self.at)(&b, x)).collect()
        };
        let mut slopes = DMatrix::zeros(self.data.len(), logs.len());
        for unknown in 0..logs.len() {
            let moved = |by: f64| {
                let mut logs = logs.clone();
                logs[unknown] += by;
                seen(&logs)
            };
            for (i, (up, down)) in moved(H).into_iter().zip(moved(-H)).enumerate() {
                slopes[(i, unknown)] = (up - down) / (2.0 * H);
            }
        }
        (seen(logs), slopes)
    }
}

type Problems = [(&'static str, fn(&[f64], f64) -> f64); 11];

/// The formulas as the files print them.
const PROBLEMS: Problems = [
    ("Misra1a", |b, x| b[0] * (1.0 - (-b[1] * x).exp())),
    ("Chwirut2", |b, x| (-b[0] * x).exp() / (b[1] + b[2] * x)),
    ("DanWood", |b, x| b[0] * x.powf(b[1])),
    ("Lanczos3", |b, x| {
        (0..3).map(|i| b[2 * i] * (-b[2 * i + 1] * x).exp()).sum()
    }),
    ("Rat42", |b, x| b[0] / (1.0 + (b[1] - b[2] * x).exp())),
    ("Rat43", |b, x| {
        b[0] / (1.0 + (b[1] - b[2] * x).exp()).powf(1.0 / b[3])
    }),
    ("MGH09", |b, x| {
        b[0] * (x * x + x * b[1]) / (x * x + x * b[2] + b[3])
    }),
    ("MGH10", |b, x| b[0] * (b[1] / (x + b[2])).exp()),
    ("BoxBOD", |b, x| b[0] * (1.0 - (-b[1] * x).exp())),
    ("Eckerle4", |b, x| {
        b[0] / b[1] * (-0.5 * ((x - b[2]) / b[1]).powi(2)).exp()
    }),
    ("Thurber", |b, x| {
        (b[0] + x * (b[1] + x * (b[2] + x * b[3]))) / (1.0 + x * (b[4] + x * (b[5] + x * b[6])))
    }),
];

/// From both starts of every problem but one: parameters within a hundredth of their certified standard deviations, these within 0.3 %.
#[test]
fn certified_values_are_found() {
    for (name, at) in PROBLEMS {
        let certified = Certified::read(name);
        for (far, start) in certified.starts.iter().enumerate() {
            // Its curve there is 1e7 times the noise, so that with hardly any prior the squares fill a double and no step is found.
            if (name, far) == ("MGH10", 0) {
                continue;
            }
            let n = start.len();
            let mean = DVector::from_iterator(n, start.iter().map(|b| b.ln()));
            const OPEN: f64 = 30.0;
            let shared = DMatrix::zeros(certified.data.len(), certified.data.len());
            let problem = Problem {
                model: &Curve {
                    at,
                    data: &certified.data,
                },
                measured: certified
                    .data
                    .iter()
                    .map(|&(value, _)| Measured {
                        value,
                        sd: certified.spread,
                        says: Says::Equal,
                    })
                    .collect(),
                shared: &shared,
                known: Known {
                    covariance: DMatrix::identity(n, n) * (OPEN * OPEN),
                    precision: DMatrix::identity(n, n) / (OPEN * OPEN),
                    mean: mean.clone(),
                },
                bounded: None,
            };
            let found = problem.solve([mean]).expect("a start");
            for (i, &(b, sd)) in certified.answer.iter().enumerate() {
                let off = (found.unknowns[i].exp() - b).abs() / sd;
                assert!(
                    off < 0.01,
                    "{name} from {start:?}, b{}: {off} of its sd off",
                    i + 1
                );
                let spread = found.covariance[(i, i)].sqrt() * b / sd;
                assert!(
                    (spread - 1.0).abs() < 0.003,
                    "{name} from {start:?}, b{}: {spread}",
                    i + 1
                );
            }
            let squares = found.chi_squared * certified.spread * certified.spread;
            assert!(
                (squares / certified.squares - 1.0).abs() < 2e-5,
                "{name} from {start:?}: {squares}"
            );
        }
    }
}
