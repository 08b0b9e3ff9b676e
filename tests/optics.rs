//! The optics against published formulas and exact tables of other programs; `tests/data/tables/README.md` names the
//! sources. Physical invariants as properties.

#[path = "support/tables.rs"]
mod tables;

use proptest::prelude::*;
use tables::{close, numbers, rows};
use twoground::film::{Response, surface, table::Table, transport::Transport, two_flux};

#[test]
fn two_flux_forward() {
    for row in numbers("km_forward") {
        let [kx, sx, rg, r, r0, t, r_infinite] = row[..] else {
            panic!("{row:?}")
        };
        let layer = two_flux::layer(kx, sx);
        let what = format!("KX {kx} SX {sx} Rg {rg}");
        close(layer.over(rg), r, 1e-11, &what);
        close(layer.reflectance, r0, 1e-11, &what);
        close(layer.transmittance, t, 1e-11, &what);
        if sx > 0.0 && kx > 0.0 {
            close(two_flux::reflectivity(kx, sx), r_infinite, 1e-11, &what);
        }
    }
}

#[test]
fn two_flux_inverse_over_two_grounds() {
    let mut solved = 0;
    for row in numbers("km_inverse_two_background") {
        let (black, white, over_black, over_white) = (row[2], row[3], row[4], row[5]);
        let (sx, kx) = (row[8], row[9]);
        let found = two_flux::from_two_grounds(over_white, over_black, white, black);
        let (k, s) = found.unwrap_or_else(|| panic!("{row:?} has a solution"));
        close(k, kx, 1e-9, "KX");
        close(s, sx, 1e-9, "SX");
        solved += 1;
    }
    assert_eq!(solved, 100);
}

#[test]
fn two_flux_layers() {
    for row in rows("km_layers") {
        let layers: Vec<_> = row[0]
            .split('|')
            .map(|l| {
                let (k, s) = l.split_once(':').expect("K:S");
                two_flux::layer(k.parse().expect("K"), s.parse().expect("S"))
            })
            .collect();
        let value = |i: usize| -> f64 { row[i].parse().expect("a number") };
        if let [upper, lower] = layers[..] {
            let (from_above, through, from_below) = two_flux::combined(upper, lower);
            close(from_above, value(3), 1e-12, &row[0]);
            close(from_below, value(4), 1e-12, &row[0]);
            close(through, value(5), 1e-12, &row[0]);
        }
        let over = layers
            .iter()
            .rev()
            .fold(value(1), |ground, layer| layer.over(ground));
        close(over, value(2), 1e-12, &row[0]);
    }
}

#[test]
fn two_flux_hiding() {
    for row in numbers("hiding_sx") {
        let [_, k_over_s, white, ratio, sx, ..] = row[..] else {
            panic!("{row:?}")
        };
        let layer = two_flux::layer(k_over_s * sx, sx);
        close(
            layer.reflectance / layer.over(white),
            ratio,
            1e-9,
            "contrast ratio",
        );
    }
}

#[test]
fn saunderson_surface() {
    for row in numbers("saunderson") {
        let [k1, k2, internal, _, excluded] = row[..] else {
            panic!("{row:?}")
        };
        close(
            surface::seen_through((1.0 - k1) * (1.0 - k2), k2, internal),
            excluded,
            1e-13,
            "gloss excluded",
        );
    }
}

#[test]
fn fresnel_and_walsh() {
    for row in numbers("fresnel_diffuse") {
        let (n, normal, at_45, outer, inner) = (row[0], row[1], row[2], row[3], row[5]);
        close(surface::fresnel(n, 1.0), normal, 1e-12, "normal");
        close(
            surface::fresnel(n, (1.0 - 0.5 / (n * n)).sqrt()),
            at_45,
            1e-12,
            "45 degrees",
        );
        close(
            surface::walsh_outer(n),
            outer,
            1e-12,
            "diffuse from outside",
        );
        close(surface::walsh_inner(n), inner, 1e-12, "diffuse from inside");
    }
}

/// K and S of a film from its optical depth, albedo and anisotropy (the mapping of `film::transport`).
fn two_flux_units(g: f64, albedo: f64, depth: f64) -> (f64, f64) {
    (
        2.0 * (1.0 - albedo) * depth,
        0.75 * albedo * depth * (1.0 - g),
    )
}

#[test]
fn transport_of_diffuse_light_through_slabs() {
    for row in numbers("rte_slab_diffuse") {
        let [g, albedo, depth, r, t, ..] = row[..] else {
            panic!("{row:?}")
        };
        let transport = Transport::<24>::new(g);
        let (k, s) = two_flux_units(g, albedo, depth);
        let (ours_r, ours_t) = transport.film(k, s, 1.0).diffuse(&transport);
        let what = format!("g {g} albedo {albedo} depth {depth}");
        close(ours_r, r, 2e-4, &what);
        close(ours_t, t, 2e-4, &what);
    }
}

#[test]
fn transport_in_a_half_space() {
    let transport = Transport::<24>::new(0.0);
    for row in numbers("rte_semi_infinite_isotropic") {
        let (albedo, exact) = (row[0], row[1]);
        // Deep enough that nothing returns from below.
        let (k, s) = two_flux_units(0.0, albedo, 400.0 / (1.0 - albedo).sqrt());
        let (r, _) = transport.film(k, s, 1.0).diffuse(&transport);
        close(r, exact, 2e-4, &format!("albedo {albedo}"));
    }
}

#[test]
fn transport_seen_at_45_0_over_stripes() {
    for row in numbers("rte_drawdown_45_0") {
        let [g, albedo, depth, over_black, over_white] = row[..] else {
            panic!("{row:?}")
        };
        let transport = Transport::<24>::new(g);
        let (k, s) = two_flux_units(g, albedo, depth);
        let seen = transport.stack(&[&transport.film(k, s, 1.0)]);
        let what = format!("g {g} albedo {albedo} depth {depth}");
        close(seen.over(0.05), over_black, 2e-4, &what);
        close(seen.over(0.90), over_white, 2e-4, &what);
    }
}

/// Discrete ordinates, another method than adding-doubling (`make_slabs.py`).
#[test]
fn transport_of_diffuse_light_by_discrete_ordinates() {
    for row in numbers("disort_slabs") {
        let [g, albedo, depth, r, t] = row[..] else {
            panic!("{row:?}")
        };
        let transport = Transport::<24>::new(g);
        let (k, s) = two_flux_units(g, albedo, depth);
        let (ours_r, ours_t) = transport.film(k, s, 1.0).diffuse(&transport);
        let what = format!("g {g} albedo {albedo} depth {depth}");
        close(ours_r, r, 1e-4, &what);
        close(ours_t, t, 1e-4, &what);
    }
}

/// Two and three films of different paints and anisotropies, their matrices from another program (`make_stacks.py`).
#[test]
fn transport_through_films_that_scatter_differently() {
    for row in rows("rte_stacks") {
        let number = |text: &str| -> f64 { text.parse().expect("a number") };
        let films: Vec<Vec<f64>> = row[1]
            .split('|')
            .map(|film| film.split(':').map(number).collect())
            .collect();
        let layers: Vec<_> = films
            .iter()
            .map(|f| Transport::<24>::new(f[2]).film(f[0], f[1], 1.0))
            .collect();
        let seen = Transport::<24>::new(0.0).stack(&layers.iter().collect::<Vec<_>>());
        close(seen.over(number(&row[2])), number(&row[3]), 1e-4, &row[1]);
    }
}

/// An optical constant times thickness over four decades.
fn depth() -> impl Strategy<Value = f64> {
    (-3.0..1.3_f64).prop_map(|e| 10f64.powf(e))
}

fn all(seen: Response) -> [f64; 3] {
    [seen.a, seen.b, seen.c]
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 64, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn light_is_never_made(k in depth(), s in depth(), g in 0.0..0.8) {
        let transport = Transport::<12>::new(g);
        let film = transport.film(k, s, 1.0);
        let (r, t) = film.diffuse(&transport);
        prop_assert!(r >= 0.0 && t >= 0.0 && r + t <= 1.0 + 1e-9, "{} {}", r, t);
        let seen = transport.stack(&[&film]);
        for rho in [0.0, 0.3, 1.0] {
            prop_assert!((-1e-12..=1.0).contains(&seen.over(rho)));
        }
    }

    #[test]
    fn a_lighter_ground_is_never_darker(k in depth(), s in depth(), rho in 0.0..0.95) {
        let seen = Table::shared().film(k, s, 0.4);
        prop_assert!(seen.over(rho + 0.05) >= seen.over(rho));
    }

    #[test]
    fn a_pure_absorber_never_lightens(k in depth(), rho in 0.001..1.0_f64) {
        let transport = Transport::<12>::new(0.4);
        let seen = transport.stack(&[&transport.film(k, 0.0, 1.0)]);
        prop_assert!(seen.over(rho) <= surface::to_measured(rho) + 1e-3);
    }

    #[test]
    fn a_film_in_two_coats_is_one_film(k in depth(), s in depth(), share in 0.05..0.95) {
        let transport = Transport::<12>::new(0.4);
        let one = transport.stack(&[&transport.film(k, s, 1.0)]);
        let two = transport.stack(&[&transport.film(k, s, share), &transport.film(k, s, 1.0 - share)]);
        for (x, y) in all(one).into_iter().zip(all(two)) {
            prop_assert!((x - y).abs() < 3e-4, "{:?} {:?}", one, two);
        }
    }

    #[test]
    fn order_matters_for_reflection_only_where_something_scatters(k in depth(), l in depth(), rho in 0.05..0.95) {
        let transport = Transport::<12>::new(0.4);
        let (a, b) = (transport.film(k, 0.0, 1.0), transport.film(l, 0.0, 1.0));
        let (ab, ba) = (transport.stack(&[&a, &b]), transport.stack(&[&b, &a]));
        prop_assert!((ab.over(rho) - ba.over(rho)).abs() < 1e-12);
    }

    #[test]
    fn two_flux_inverts_its_own_forward(k in depth(), s in depth(), white in 0.6..0.95, black in 0.005..0.1) {
        let layer = two_flux::layer(k, s);
        let (w, b) = (layer.over(white), layer.over(black));
        // Where the stripes are still told apart.
        prop_assume!(w - b > 1e-3);
        let (k2, s2) = two_flux::from_two_grounds(w, b, white, black).expect("a layer");
        prop_assert!((k2 / k - 1.0).abs() < 1e-4 && (s2 / s - 1.0).abs() < 1e-4);
    }
}
