//! Writes random simulated cards with their truth, to try the reader on.
//!
//! `cargo run --example make_trials -- FOLDER [COUNT] [FIRST_SEED] [DPI]`: DPI 0 draws one between 100 and 600 for each.
//! `cargo run --example make_trials -- FOLDER --troubles [COUNT] [FIRST_SEED] [DPI]`: COUNT cards for every single trouble,
//! with `--only WORDS` for those whose names hold the words.

use std::{error::Error, fs, path::Path};

use twoground::simulate::{Scene, random::Random, render, trials, troubles};

const USAGE: &str =
    "say which folder to write to: make_trials FOLDER [--troubles] [COUNT] [FIRST_SEED] [DPI]";

fn main() -> Result<(), Box<dyn Error>> {
    let mut arguments: Vec<String> = std::env::args().skip(1).collect();
    let one_by_one = arguments.iter().any(|word| word == "--troubles");
    arguments.retain(|word| word != "--troubles");
    let only = match arguments.iter().position(|word| word == "--only") {
        Some(i) => arguments.drain(i..(i + 2).min(arguments.len())).nth(1),
        None => None,
    };
    let Some(folder) = arguments.first() else {
        return Err(USAGE.into());
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
        let dpi = if dpi > 0.0 { dpi } else { own_dpi };
        if one_by_one {
            let wanted = |name: &str| only.as_deref().is_none_or(|words| name.contains(words));
            let all = troubles::ALL.iter().enumerate();
            for (i, trouble) in all.filter(|(_, trouble)| wanted(trouble.name)) {
                // The same cards for every trouble, so that rows of a table can be compared.
                let scene = trouble.scene(seed, dpi);
                let words = Some(trouble.name);
                write(
                    Path::new(folder),
                    &format!("trouble-{i:02}-{seed:04}"),
                    &scene,
                    words,
                )?;
            }
        } else {
            let scene = trials::scene(seed, dpi);
            write(Path::new(folder), &format!("trial-{seed:04}"), &scene, None)?;
        }
    }
    Ok(())
}

fn write(
    folder: &Path,
    stem: &str,
    scene: &Scene,
    trouble: Option<&str>,
) -> Result<(), Box<dyn Error>> {
    let mut rendered = render(scene);
    if let Some(name) = trouble {
        rendered.truth.troubles = vec![name.to_owned()];
    }
    let path = folder.join(stem);
    fs::write(
        path.with_extension(scene.file.kind.extension()),
        rendered.bytes()?,
    )?;
    fs::write(path.with_extension("json"), rendered.truth.json())?;
    Ok(())
}
