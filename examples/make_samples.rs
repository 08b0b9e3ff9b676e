//! Writes the sample scans, their truth and their README: `cargo run --example make_samples [FOLDER]`, by default
//! `sample-scans`. The same program always writes the same bytes.

use std::{error::Error, fmt::Write, fs, path::Path};

use twoground::simulate::{
    Truth, render,
    samples::{Sample, samples},
};

fn main() -> Result<(), Box<dyn Error>> {
    let folder = std::env::args()
        .nth(1)
        .unwrap_or_else(|| "sample-scans".into());
    let folder = Path::new(&folder);
    fs::create_dir_all(folder)?;
    let mut rows = String::new();
    for sample in samples() {
        let rendered = render(&sample.scene);
        fs::write(folder.join(sample.file_name()), rendered.bytes()?)?;
        fs::write(
            folder.join(format!("{}.json", sample.stem)),
            rendered.truth.json(),
        )?;
        rows.push_str(&row(&sample, &rendered.truth)?);
    }
    fs::write(folder.join("README.md"), README.replace("{rows}", &rows))?;
    Ok(())
}

fn row(sample: &Sample, truth: &Truth) -> Result<String, std::fmt::Error> {
    let [width, height] = truth.pixels;
    let mut row = String::new();
    writeln!(
        row,
        "| `{}` | {} | {width} x {height} at {} dpi | {} |",
        sample.file_name(),
        sample.shows,
        truth.dpi,
        truth.light.anisotropy,
    )?;
    Ok(row)
}

const README: &str = "\
# Sample scans

**These scans are simulated.** No paint, card, person or studio in them exists: the names are invented, the colours were
computed from invented spectra, and a program drew the cards, the handwriting, the dust and the noise. They show what the
reader can do and let you try it; they say nothing about any real paint.

| file | shows | size | anisotropy |
|---|---|---|---|
{rows}
`still-life.jpg` is an invented painting, a grisaille photographed in a warm light that falls off, with grey (L* 50) and white (L* 96)
cards below it; `cargo run --example make_painting` draws it again.

Each `.json` beside a scan is its truth: the paint's K and S per the card's middle film on 31 bands, the films' builds,
XYZ of stripes and cells, where card, stripes and films lie, everything that was done to the scan, and the exact colours of
single films over thirteen grounds at half, one, two and three builds. XYZ and Lab are D50, 2 degrees, relative to a
perfect diffuser.

`.pigment.json` is what the product reads from the scan, for the page's first screen; `samples.json` lists them in the order in
which the page offers them.

Light was traced through every film exactly (adding-doubling, 24 directions), at the scattering anisotropy in the table:
not the one that the fit assumes.

`cargo run --example make_samples` writes the scans again, byte for byte; `cargo run --example read_samples` reads them again.
";
