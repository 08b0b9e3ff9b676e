//! scratch
use serde_json::Value;
use twoground::{
    colour::{self, Lab, Xyz},
    film::surface,
    fit::{self, Card, Datum, Optics, Prior, Says},
    picture::{Constants, Ground, film_over},
    spectrum::{self, BANDS},
};

fn nums(v: &Value) -> Vec<f64> {
    v.as_array()
        .unwrap()
        .iter()
        .map(|x| x.as_f64().unwrap())
        .collect()
}
fn xyz(v: &Value) -> Xyz {
    let n = nums(v);
    Xyz::new(n[0], n[1], n[2])
}
fn pct(v: &mut Vec<f64>, p: f64) -> f64 {
    v.sort_by(f64::total_cmp);
    let r = p * (v.len() - 1) as f64;
    let i = r as usize;
    v[i] + (r - i as f64) * (v[(i + 1).min(v.len() - 1)] - v[i])
}

#[test]
fn score() {
    for name in ["cards", "second", "forward"] {
        let d: Value = serde_json::from_str(
            &std::fs::read_to_string(format!("tests/data/sets/{name}.json")).unwrap(),
        )
        .unwrap();
        let grounds: Vec<Ground> = d["grounds_xyz"]
            .as_array()
            .unwrap()
            .iter()
            .map(|g| Ground::of_xyz(xyz(g)))
            .collect();
        let stripes = [&d["white_xyz"], &d["black_xyz"]]
            .map(|s| spectrum::smoothest(xyz(s)).map(surface::to_internal));
        let rows = spectrum::to_xyz_rows();
        for optics in [Optics::Transport, Optics::TwoFlux] {
            let mut errs = vec![];
            let mut held = 0;
            let mut n = 0;
            let mut widths = vec![];
            let mut t = 0.0;
            for p in d["paints"].as_array().unwrap() {
                for draw in 0..5 {
                    let mut data = vec![];
                    for f in 0..3 {
                        for g in 0..2 {
                            let v = nums(&p["noisy"][draw][f][g]);
                            for c in 0..3 {
                                data.push(Datum {
                                    film: f,
                                    ground: g,
                                    row: rows[c],
                                    value: v[c],
                                    sd: (0.002f64.powi(2) + (0.015 * v[c]).powi(2)).sqrt(),
                                    says: Says::Equal,
                                });
                            }
                        }
                    }
                    let card = Card {
                        grounds: stripes.to_vec(),
                        data,
                        nominal: vec![0.5, 1.0, 2.0],
                        reference: 1,
                    };
                    let now = std::time::Instant::now();
                    let r = fit::fit(&card, &Prior::default(), optics);
                    t += now.elapsed().as_secs_f64();
                    let c = Constants {
                        absorption: r.log_absorption.map(f64::exp),
                        scattering: r.log_scattering.map(f64::exp),
                        covariance: r
                            .covariance
                            .view((0, 0), (2 * BANDS, 2 * BANDS))
                            .into_owned(),
                    };
                    for o in p["over_grounds"].as_array().unwrap() {
                        let b = o["build"].as_f64().unwrap();
                        for (g, l) in grounds.iter().zip(o["lab"].as_array().unwrap()) {
                            let l = nums(l);
                            let truth = Lab::new(l[0], l[1], l[2]);
                            if optics == Optics::TwoFlux {
                                let mut seen = [0.0; BANDS];
                                for k in 0..BANDS {
                                    seen[k] = twoground::film::two_flux::layer(
                                        c.absorption[k] * b,
                                        c.scattering[k] * b,
                                    )
                                    .seen()
                                    .over(g.internal[k]);
                                }
                                errs.push(colour::difference(
                                    truth,
                                    colour::lab(spectrum::xyz_of(&seen)),
                                ));
                                continue;
                            }
                            let q = film_over(&c, b, g);
                            let e = colour::difference(truth, q.lab);
                            errs.push(e);
                            if b > 0.3 && b < 3.0 {
                                n += 1;
                                if e <= q.range {
                                    held += 1;
                                }
                                widths.push(q.range);
                            }
                        }
                    }
                }
            }
            let mean = errs.iter().sum::<f64>() / errs.len() as f64;
            let (m, p95) = (pct(&mut errs.clone(), 0.5), pct(&mut errs, 0.95));
            println!(
                "{name} {optics:?} median {m:.3} mean {mean:.3} 95th {p95:.2} held {:.3} width {:.2} time {:.2} ms",
                held as f64 / (n.max(1)) as f64,
                if widths.is_empty() {
                    0.0
                } else {
                    pct(&mut widths, 0.5)
                },
                t * 1e3 / (d["paints"].as_array().unwrap().len() * 5) as f64
            );
        }
    }
}
