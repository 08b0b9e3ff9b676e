//! An invented painting: a still life in grisaille on an easel board, with grey and white cards beside it, as a camera sees it.
//!
//! Simple solids on a table in one light, brushed unevenly. No real painting, place or thing stands behind it.

use super::random::{Mottle, Random};
use crate::colour::{self, Lab, ScreenSpace};

type V = [f64; 3];

fn add(a: V, b: V) -> V {
    std::array::from_fn(|i| a[i] + b[i])
}
fn times(a: V, by: f64) -> V {
    a.map(|v| v * by)
}
fn dot(a: V, b: V) -> f64 {
    (0..3).map(|i| a[i] * b[i]).sum()
}
fn length(a: V) -> f64 {
    dot(a, a).sqrt()
}
fn unit(a: V) -> V {
    times(a, 1.0 / length(a))
}

/// A jug is turned: its radius by height.
fn jug_radius(y: f64) -> f64 {
    let knots = [
        (0.0, 0.42),
        (0.15, 0.60),
        (0.55, 0.74),
        (0.95, 0.62),
        (1.30, 0.36),
        (1.60, 0.30),
        (1.80, 0.40),
    ];
    let last = knots.len() - 1;
    let i = knots
        .iter()
        .rposition(|(height, _)| *height <= y)
        .unwrap_or(0)
        .min(last - 1);
    let ((y0, r0), (y1, r1)) = (knots[i], knots[i + 1]);
    let slope = |j: usize| {
        let (a, b) = (knots[j.saturating_sub(1)], knots[(j + 1).min(last)]);
        (b.1 - a.1) / (b.0 - a.0)
    };
    // Cubic between the knots, so that the turned form has no rings.
    let (t, h) = (((y - y0) / (y1 - y0)).clamp(0.0, 1.0), y1 - y0);
    let (t2, t3) = (t * t, t * t * t);
    (2.0 * t3 - 3.0 * t2 + 1.0) * r0
        + (t3 - 2.0 * t2 + t) * h * slope(i)
        + (3.0 * t2 - 2.0 * t3) * r1
        + (t3 - t2) * h * slope(i + 1)
}

fn sphere(p: V, centre: V, radius: f64) -> f64 {
    length(add(p, times(centre, -1.0))) - radius
}

/// Distance to the nearest thing, and its own lightness (albedo).
fn scene(p: V) -> (f64, f64) {
    let mut nearest = (p[1], 0.62);
    let mut put = |distance: f64, albedo: f64| {
        if distance < nearest.0 {
            nearest = (distance, albedo);
        }
    };
    // The wall behind.
    put(2.6 - p[2], 0.30);
    // The jug, and its handle.
    let q = add(p, [0.75, 0.0, -0.5]);
    let around = (q[0] * q[0] + q[2] * q[2]).sqrt();
    let side = (around - jug_radius(q[1])) * 0.7;
    let ends = (q[1] - 1.80).max(-q[1]);
    put(
        side.max(ends)
            .max(-(around - jug_radius(q[1]) + 0.06).max(1.2 - q[1])),
        0.50,
    );
    let handle = {
        let (u, v) = (q[0] + 0.52, q[1] - 1.18);
        let ring = ((u * u / 0.45 + v * v).sqrt() - 0.40).hypot(q[2]) - 0.07;
        ring.max(q[0] + 0.28)
    };
    put(handle * 0.8, 0.50);
    // Fruit.
    put(sphere(p, [0.35, 0.40, -0.25], 0.40), 0.70);
    put(sphere(p, [1.02, 0.31, -0.55], 0.31), 0.45);
    put(sphere(p, [0.72, 0.27, -1.00], 0.27), 0.80);
    // A bowl, cut from a ball.
    let bowl = {
        let c = [1.55, 0.62, 0.55];
        let outer = sphere(p, c, 0.70).max(p[1] - 0.62);
        outer.max(-sphere(p, c, 0.63)).max(-p[1] + 0.05)
    };
    put(bowl * 0.8, 0.74);
    // Two eggs.
    let egg = |p: V, centre: V, turn: f64| {
        let q = add(p, times(centre, -1.0));
        let (x, z) = (
            q[0] * libm::cos(turn) + q[2] * libm::sin(turn),
            q[2] * libm::cos(turn) - q[0] * libm::sin(turn),
        );
        let wide = 0.215 - 0.10 * x;
        let round = ((x / 1.3) * (x / 1.3) + q[1] * q[1] + z * z).sqrt();
        (round - wide) * 0.8
    };
    put(egg(p, [-1.75, 0.21, -0.85], 0.5), 0.88);
    put(egg(p, [-1.28, 0.21, -1.30], -0.4), 0.80);
    nearest
}

fn normal(p: V) -> V {
    const E: f64 = 1e-3;
    let d = |axis: usize| {
        let (mut a, mut b) = (p, p);
        a[axis] += E;
        b[axis] -= E;
        scene(a).0 - scene(b).0
    };
    unit([d(0), d(1), d(2)])
}

fn march(from: V, along: V, far: f64) -> Option<V> {
    let mut way = 0.0;
    for _ in 0..160 {
        let p = add(from, times(along, way));
        let (distance, _) = scene(p);
        if distance < 6e-4 {
            return Some(p);
        }
        way += distance * 0.85;
        if way > far {
            return None;
        }
    }
    Some(add(from, times(along, way)))
}

/// How much of the light reaches a place: soft towards the shadow's edge.
fn lit(p: V, towards: V) -> f64 {
    let (mut way, mut least) = (0.02, 1.0_f64);
    while way < 6.0 {
        let distance = scene(add(p, times(towards, way))).0;
        if distance < 4e-4 {
            return 0.0;
        }
        least = least.min(9.0 * distance / way);
        way += distance.clamp(0.01, 0.3);
    }
    least.clamp(0.0, 1.0)
}

/// How open a place is to the room.
fn open(p: V, n: V) -> f64 {
    let mut closed = 0.0;
    for step in 1..=5 {
        let way = 0.09 * f64::from(step);
        closed += (way - scene(add(p, times(n, way))).0).max(0.0) / f64::from(1 << step) * 3.0;
    }
    (1.0 - closed).clamp(0.15, 1.0)
}

/// L* of the painted scene at a place of the board, x -1 to 1 and y -0.75 to 0.75 upwards.
fn painted(x: f64, y: f64) -> f64 {
    let eye = [0.1, 1.9, -5.6];
    let along = unit([x * 1.9, y * 1.9 - 0.95, 4.9]);
    let Some(p) = march(eye, along, 14.0) else {
        return 20.0;
    };
    let n = normal(p);
    let albedo = scene(p).1;
    let towards = unit([-0.75, 0.85, -0.75]);
    let direct = dot(n, towards).max(0.0) * lit(add(p, times(n, 4e-3)), towards);
    // The room gives a little from above and from the right.
    let room = 0.16 * (0.6 + 0.4 * n[1]) + 0.05 * n[0].max(0.0);
    let mut light = albedo * (0.95 * direct + room * open(p, n));
    // The wall grows darker away from the lamp.
    if p[2] > 2.55 {
        light *= 0.75 + 0.35 * libm::exp(-0.5 * (p[0] + 2.2) * (p[0] + 2.2));
    }
    // Half shine on the jug and the fruit.
    let half = unit(add(towards, times(along, -1.0)));
    if p[1] > 0.02 && p[2] < 2.0 {
        light += 0.22 * direct.min(1.0) * dot(n, half).max(0.0).powi(48);
    }
    let l = colour::lab(colour::Xyz::new(0.9642 * light, light, 0.8249 * light)).l;
    // Painters keep a grisaille light for glazing.
    24.0 + 0.74 * l
}

/// What a camera sees.
#[derive(Debug, Clone, Copy)]
pub struct Photo {
    /// What every channel is multiplied by: exposure and the lamp's colour.
    pub gain: [f64; 3],
    /// How much less light there is at the right edge than at the left, 0 to 1.
    pub falls_off: f64,
}

/// L* of the grey and of the white card.
pub const CARDS: [f64; 2] = [50.0, 96.0];
/// Middles of the cards, as shares of width and height: grey, white, and grey again at the right.
pub const CARD_PLACES: [[f64; 2]; 3] = [[0.068, 0.93], [0.138, 0.93], [0.932, 0.93]];
const CARD_HALF: [f64; 2] = [0.028, 0.042];

/// Encoded sRGB, 0 to 1, of the photographed board; 4 to 3.
pub fn still_life(width: usize, photo: Photo) -> (usize, Vec<f32>) {
    let height = width * 3 / 4;
    let mut random = Random::of(88, "still life");
    let strokes = [Mottle::new(&mut random, 9.0), Mottle::new(&mut random, 3.0)];
    let broad = Mottle::new(&mut random, 60.0);
    let weave = Mottle::new(&mut random, 1.0);
    let from_xyz = ScreenSpace::Srgb.from_xyz();
    let mut encoded = Vec::with_capacity(3 * width * height);
    for row in 0..height {
        for column in 0..width {
            let (u, v) = (
                (column as f64 + 0.5) / width as f64,
                (row as f64 + 0.5) / height as f64,
            );
            // A thousand units across, whatever the size.
            let (mx, my) = (1000.0 * u, 750.0 * v);
            let lab = at(u, v, [mx, my], (&strokes, &broad, &weave));
            let c = colour::xyz(lab);
            let fall = 1.0 - photo.falls_off * u;
            for (channel, line) in from_xyz.iter().enumerate() {
                let linear = (line[0] * c.x + line[1] * c.y + line[2] * c.z).max(0.0);
                let noise = 1.0 + 0.006 * random.normal();
                let seen = linear * photo.gain[channel] * fall * noise + 0.0006 * random.normal();
                encoded.push(colour::encode_srgb(seen.clamp(0.0, 1.0)) as f32);
            }
        }
    }
    (height, encoded)
}

fn at(
    u: f64,
    v: f64,
    [mx, my]: [f64; 2],
    (strokes, broad, weave): (&[Mottle; 2], &Mottle, &Mottle),
) -> Lab {
    for (i, place) in CARD_PLACES.iter().enumerate() {
        if (u - place[0]).abs() < CARD_HALF[0] && (v - place[1]).abs() < CARD_HALF[1] {
            return Lab::new(CARDS[i % 2], 0.0, 0.0);
        }
    }
    // The board: a margin of bare priming around the painted field.
    let (left, right, top, bottom) = (0.035, 0.965, 0.035, 0.865);
    if !(left..right).contains(&u) || !(top..bottom).contains(&v) {
        return Lab::new(31.0 + 0.6 * broad.at(mx, my), 0.3, 0.8);
    }
    let (x, y) = ((u - left) / (right - left), (v - top) / (bottom - top));
    // The painted edge wanders.
    let ragged = 0.0016 * broad.at(4.0 * mx, 4.0 * my) + 0.0006 * strokes[0].at(mx, my);
    let margin = 0.018 + ragged;
    if x < margin || x > 1.0 - margin || y < 1.3 * margin || y > 1.0 - 1.3 * margin {
        return Lab::new(84.0 + 0.5 * weave.at(mx, my), 0.6, 6.0);
    }
    // The brush pulls colours a little along its strokes.
    let pulled = 0.0007 * strokes[0].at(mx, 3.0 * my);
    let l = painted(2.0 * (x + pulled) - 1.0, 0.75 - 1.5 * (y + 0.6 * pulled));
    let l = l
        + 0.9 * strokes[0].at(mx, 3.2 * my)
        + 0.7 * strokes[1].at(0.8 * mx, 2.5 * my)
        + 0.5 * weave.at(mx, my);
    // A black and a white with a little umber: darks warmer than lights.
    let warm = (80.0 - l).max(0.0) / 60.0;
    Lab::new(l.clamp(10.0, 95.0), 0.4 + 0.9 * warm, 1.6 + 2.6 * warm)
}
