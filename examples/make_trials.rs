//! Writes random simulated cards with their truth, to try the card finder on.
//!
//! `cargo run --example make_trials -- FOLDER [COUNT] [FIRST_SEED] [DPI]`: DPI 0 draws one between 100 and 600 for each.

use std::{error::Error, fs, path::Path};

use twoground::simulate::{random::Random, render, trials};

fn main() -> Result<(), Box<dyn Error>> {
    let arguments: Vec<String> = std::env::args().skip(1).collect();
    let Some(folder) = arguments.first() else {
        return Err(
            "say which folder to write to: make_trials FOLDER [COUNT] [FIRST_SEED] [DPI]".into(),
        );
    };
    let number = |i: usize, otherwise: f64| {
        arguments
            .get(i)
            .map_or(Ok(otherwise), |word| word.parse::<f64>())
    };
    let (count, first, dpi) = (
        number(1, 20.0)? as u64,
        number(2, 0.0)? as u64,
        number(3, 0.0)?,
    );
    fs::create_dir_all(folder)?;
    for seed in first..first + count {
        let own_dpi = Random::of(seed, "dpi").between_log(100.0, 600.0).round();
        let scene = trials::scene(seed, if dpi > 0.0 { dpi } else { own_dpi });
        let rendered = render(&scene);
        let stem = Path::new(folder).join(format!("trial-{seed:04}"));
        fs::write(
            stem.with_extension(scene.file.kind.extension()),
            rendered.bytes()?,
        )?;
        fs::write(stem.with_extension("json"), rendered.truth.json())?;
    }
    Ok(())
}
