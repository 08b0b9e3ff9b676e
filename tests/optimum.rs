//! The fit's end against a general minimiser of another library on the same objective: `tests/data/fit/make_optimum.py`.
//!
//! Certified regression problems (NIST StRD) do not fit this solver: it takes Gauss-Newton steps in the space of the data, which only
//! works with a prior and with films for its function.

#[path = "support/sets.rs"]
mod sets;

use sets::{bands, json_at, list, numbers};
use twoground::{
    fit::{self, Card, Datum, Optics, Prior, Says},
    spectrum::{self, BANDS},
};

fn prior(v: &serde_json::Value) -> Prior {
    let pair = |key: &str| {
        let n = numbers(&v[key]);
        (n[0], n[1])
    };
    let number = |key: &str| v[key].as_f64().expect("a number");
    Prior {
        rough_absorption: number("rough_absorption"),
        steep_absorption: number("steep_absorption"),
        rough_scattering: number("rough_scattering"),
        absorption: pair("absorption"),
        scattering: pair("scattering"),
        slope: pair("slope"),
        build: number("build"),
    }
}

fn card(v: &serde_json::Value) -> Card {
    let rows = spectrum::to_xyz_rows();
    let (values, sds) = (numbers(&v["values"]), numbers(&v["sd"]));
    let shared: Vec<Vec<f64>> = list(&v["shared"]).iter().map(numbers).collect();
    let pair = |key: &str| {
        let n = numbers(&v[key]);
        (n[0], n[1])
    };
    Card {
        grounds: list(&v["grounds"]).iter().map(bands).collect(),
        data: (0..values.len())
            .map(|i| Datum {
                film: i / 6,
                ground: i / 3 % 2,
                row: rows[i % 3],
                value: values[i],
                sd: sds[i],
                says: match v["says"][i].as_str() {
                    Some("at most") => Says::AtMost,
                    Some("at least") => Says::AtLeast,
                    _ => Says::Equal,
                },
            })
            .collect(),
        haze: pair("haze"),
        shared: nalgebra::DMatrix::from_fn(values.len(), values.len(), |i, j| shared[i][j]),
        anisotropy: pair("anisotropy"),
        nominal: numbers(&v["nominal"]),
        reference: v["reference"].as_u64().expect("a film") as usize,
    }
}

#[test]
fn the_fit_ends_where_a_general_minimiser_does() {
    let stored = json_at("tests/data/fit/optimum.json");
    let prior = prior(&stored["prior"]);
    for case in list(&stored["cases"]) {
        let name = case["name"].as_str().expect("a name");
        let fitted = fit::fit(&card(case), &prior, Optics::Transport);
        let cost = case["optimum"]["cost"].as_f64().expect("a cost");
        assert!(
            (fitted.cost / cost - 1.0).abs() < 1e-4,
            "{name}: cost {} against {cost}",
            fitted.cost
        );
        let (theta, sd) = (
            numbers(&case["optimum"]["theta"]),
            numbers(&case["optimum"]["sd"]),
        );
        let ours = fitted
            .log_absorption
            .into_iter()
            .chain(fitted.log_scattering)
            .chain(fitted.log_builds.iter().copied())
            .chain([fitted.anisotropy]);
        for (i, value) in ours.enumerate() {
            // A hundredth of what is known of it, or a thousandth of the value itself.
            let bound = 0.01 * sd[i] + 1e-3;
            assert!(
                (value - theta[i]).abs() < bound,
                "{name}: unknown {i} is {value}, theirs {} +- {}",
                theta[i],
                sd[i]
            );
            let spread = fitted.covariance[(i, i)].sqrt();
            assert!(
                (spread - sd[i]).abs() < 0.01 * sd[i] + 1e-6,
                "{name}: sd {i} is {spread}, theirs {}",
                sd[i]
            );
        }
        assert_eq!(theta.len(), 2 * BANDS + 5, "{name}");
        assert!(
            (fitted.haze.0 - theta[2 * BANDS + 4]).abs() < 1e-5,
            "{name}: {:?}",
            fitted.haze
        );
    }
    assert_eq!(list(&stored["cases"]).len(), 5);
}
