//! A film over a whole picture of 24 megapixels: `cargo bench --bench glass`.
//!
//! Beside it, in the same run, a general image library's own 3-D table of as many nodes on the same picture (Pillow's
//! `Color3DLUT`, where `python3` has it), on one core. Ours is done on one core and in strips on two.

#![allow(clippy::print_stdout)]

use std::{fs, hint::black_box, path::Path, process::Command, time::Instant};

use twoground::{
    colour::ScreenSpace,
    glass::{
        Family, Grounds,
        grounds::SIDE,
        render::{self, Laid, Shares},
        table::{Place, Shared},
    },
    paint::{Constants, Record, file::Surface},
    picture::{Film, Kept},
    scan::Profile,
};

const WIDTH: usize = 6000;
const HEIGHT: usize = 4000;
const TIMES: usize = 5;

/// Smooth hills of many colours with some grain, as pictures have.
fn picture() -> Vec<u16> {
    let mut state = 1_u32;
    let mut codes = Vec::with_capacity(3 * WIDTH * HEIGHT);
    for y in 0..HEIGHT {
        for x in 0..WIDTH {
            let (u, v) = (x as f32 / WIDTH as f32, y as f32 / HEIGHT as f32);
            let hills = [
                0.5 + 0.4 * (9.0 * u + 3.0 * v).sin(),
                0.5 + 0.4 * (4.0 * v - 7.0 * u).sin(),
                0.5 + 0.4 * (6.0 * v * u + 2.0).sin(),
            ];
            for hill in hills {
                state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
                let grain = (state >> 16) as f32 / 65535.0 - 0.5;
                codes.push(((hill + 0.04 * grain).clamp(0.0, 1.0) * 65535.0) as u16);
            }
        }
    }
    codes
}

/// Seconds that this thread has been at work, where the system tells: others may share the machine.
fn busy() -> Option<f64> {
    let text = fs::read_to_string("/proc/thread-self/schedstat").ok()?;
    let nanoseconds: f64 = text.split(' ').next()?.parse().ok()?;
    Some(1e-9 * nanoseconds)
}

/// Least of several runs, in seconds of this thread.
fn least(mut work: impl FnMut()) -> f64 {
    (0..TIMES)
        .map(|_| {
            let (start, before) = (Instant::now(), busy());
            work();
            match (before, busy()) {
                (Some(before), Some(after)) => after - before,
                _ => start.elapsed().as_secs_f64(),
            }
        })
        .fold(f64::INFINITY, f64::min)
}

/// Least of several runs, in seconds on the wall.
fn least_on_the_wall(mut work: impl FnMut()) -> f64 {
    (0..TIMES)
        .map(|_| {
            let start = Instant::now();
            work();
            start.elapsed().as_secs_f64()
        })
        .fold(f64::INFINITY, f64::min)
}

fn said(what: &str, seconds: f64) {
    let rate = (WIDTH * HEIGHT) as f64 / 1e6 / seconds;
    println!("{what:<52} {seconds:.3} s  {rate:6.0} megapixels a second");
}

fn laid(family: &Family) -> Laid<'_> {
    Laid {
        family,
        over: None,
        shares: Shares::All,
    }
}

fn main() {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("sample-scans");
    let text = fs::read_to_string(folder.join("lantern-gold.pigment.json")).expect("a sample");
    let paint: Constants = Record::read(&text)
        .and_then(|record| record.constants())
        .expect("constants");
    let to_xyz = Profile::srgb().to_xyz();
    let mut made = None;
    let seconds = least(|| made = Some(Grounds::new(&to_xyz, Surface::Glossy)));
    println!("grounds of {SIDE} nodes cubed: {:.0} ms", 1e3 * seconds);
    let grounds = made.expect("made");
    let mut kept = Kept::default();
    let mut films = |share: f64| {
        let film = Film {
            paint: 0,
            build: share,
        };
        Ok(*kept.responses(&[&paint], &[film])?.bands())
    };
    for (what, shared) in [
        ("one build", Shared::No),
        ("rough shares", Shared::Rough),
        ("all shares", Shared::Fine),
    ] {
        let mut tables = 0;
        let seconds = least(|| {
            tables = black_box(Family::new(&grounds, ScreenSpace::Srgb, shared, &mut films))
                .expect("films")
                .len();
        });
        println!("tables, {what}: {tables} in {:.1} ms", 1e3 * seconds);
    }
    let even = Family::new(&grounds, ScreenSpace::Srgb, Shared::No, &mut films).expect("films");
    let soft = Family::new(&grounds, ScreenSpace::Srgb, Shared::Fine, &mut films).expect("films");

    let codes = picture();
    let codes = codes.as_chunks::<3>().0;
    let mut eight = vec![0_u8; 4 * WIDTH * HEIGHT];
    let mut sixteen = vec![0_u16; 3 * WIDTH * HEIGHT];
    let shares: Vec<u8> = (0..WIDTH).map(|x| (255 * x / WIDTH) as u8).collect();
    let across = Laid {
        shares: Shares::Each(&shares),
        ..laid(&soft)
    };
    let look = render::Look::default();
    let whole = least(|| {
        for (codes, out) in codes.chunks(WIDTH).zip(eight.chunks_mut(4 * WIDTH)) {
            render::row(&even, &[laid(&even)], codes, look, out);
        }
    });
    said("one table, 8 bits, one core", whole);
    let seconds = least_on_the_wall(|| {
        let half = WIDTH * HEIGHT / 2;
        let (above, below) = eight.split_at_mut(4 * WIDTH * HEIGHT / 2);
        std::thread::scope(|scope| {
            for (codes, out) in [(&codes[..half], above), (&codes[half..], below)] {
                let even = &even;
                scope.spawn(move || {
                    for (codes, out) in codes.chunks(WIDTH).zip(out.chunks_mut(4 * WIDTH)) {
                        render::row(even, &[laid(even)], codes, look, out);
                    }
                });
            }
        });
    });
    said(
        "one table, 8 bits, strips on two cores, on the wall",
        seconds,
    );
    let seconds = least(|| {
        for (codes, out) in codes.chunks(WIDTH).zip(eight.chunks_mut(4 * WIDTH)) {
            render::row(&soft, &[across], codes, look, out);
        }
    });
    said("a build that runs across, 8 bits, one core", seconds);
    // As a worker keeps what is seen, to draw it again at every pull.
    let places: Vec<Place> = codes.iter().map(|code| Place::of(*code)).collect();
    for (what, laid) in [
        ("one table", laid(&even)),
        ("a build that runs across", across),
    ] {
        let seconds = least(|| {
            for (places, out) in places.chunks(WIDTH).zip(eight.chunks_mut(4 * WIDTH)) {
                render::row(&even, &[laid], places, look, out);
            }
        });
        said(&format!("{what}, 8 bits, drawn again, one core"), seconds);
    }
    drop(places);
    let seconds = least(|| {
        for (codes, out) in codes.chunks(WIDTH).zip(sixteen.chunks_mut(3 * WIDTH)) {
            render::row16(&even, &[laid(&even)], codes, out);
        }
    });
    said("one table, 16 bits, one core", seconds);
    black_box((&eight, &sixteen));
    pillow(whole);
}

/// Pillow's 3-D table on a picture of the same size and kind.
fn pillow(ours: f64) {
    let script = format!(
        "
import time
from PIL import Image, ImageFilter
import random
size = ({WIDTH}, {HEIGHT})
hills = [Image.radial_gradient('L').resize(size), Image.linear_gradient('L').resize(size), Image.linear_gradient('L').rotate(90).resize(size)]
grain = Image.effect_noise(size, 12)
picture = Image.merge('RGB', [Image.blend(h, grain, 0.1) for h in hills])
table = ImageFilter.Color3DLUT.generate({SIDE}, lambda r, g, b: (r * r, g * b, 0.5 * b + 0.3 * r))
best = 9e9
for _ in range({TIMES}):
    start = time.process_time()
    picture.filter(table)
    best = min(best, time.process_time() - start)
print(best)
"
    );
    let output = Command::new("python3").args(["-c", &script]).output();
    let seconds = output
        .ok()
        .and_then(|output| String::from_utf8(output.stdout).ok())
        .and_then(|text| text.trim().parse::<f64>().ok());
    match seconds {
        Some(seconds) => {
            said("Pillow's table of as many nodes, 8 bits, one core", seconds);
            println!("ours is {:.2} times as fast", seconds / ours);
        }
        None => println!("Not compared: python3 has no Pillow here (pip install pillow)."),
    }
}
