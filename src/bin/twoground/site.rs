//! The page as one folder of files: what `www` holds, the package, the samples, and the list by which a browser keeps all of it.

use std::collections::BTreeMap;
use std::fs;
use std::hash::{DefaultHasher, Hash as _, Hasher as _};
use std::io::{self, Write as _};
use std::path::{Path, PathBuf};
use std::process::ExitCode;

use lexopt::prelude::*;
use twoground::{Error, Result};

use crate::{Failure, Outcome, package, say};

/// The list that `www/offline.js` reads.
const LIST: &str = "offline-files.js";
/// Kinds that are kept compressed as well.
const COMPRESSED: [&str; 7] = ["css", "html", "js", "json", "svg", "wasm", "webmanifest"];
/// Kinds of samples that the page shows; their truths stay out.
const SAMPLES: [&str; 4] = ["jpg", "png", "tif", "pigment.json"];

/// Writes the page to a folder, for any web server to serve.
pub(crate) fn run(mut parser: lexopt::Parser) -> Outcome {
    let mut folder: Option<PathBuf> = None;
    while let Some(arg) = parser.next()? {
        match arg {
            Value(name) if folder.is_none() => folder = Some(name.into()),
            _ => return Err(arg.unexpected().into()),
        }
    }
    let folder =
        folder.ok_or_else(|| Failure::Usage("Name the folder to write the page to".into()))?;
    if is_full(&folder) && !folder.join(LIST).is_file() {
        return Err(failed(format!(
            "{} holds other files; name an empty folder or a new one",
            folder.display()
        ))
        .into());
    }
    let source = package::source_folder()?;
    let package = package::build(&source)?;
    assemble(&source, &package, &folder)?;
    say(&format!("{}\n", folder.display()))?;
    Ok(ExitCode::SUCCESS)
}

fn is_full(folder: &Path) -> bool {
    fs::read_dir(folder).is_ok_and(|mut files| files.next().is_some())
}

/// Builds the page beside its package. Gives the folder.
pub(crate) fn build(source: &Path, package: &Path) -> Result<PathBuf> {
    let folder = package.with_file_name("site");
    assemble(source, package, &folder)?;
    Ok(folder)
}

/// Writes all files anew where one has changed, beside the folder first, so that a page loading meanwhile gets old files or
/// new ones.
fn assemble(source: &Path, package: &Path, folder: &Path) -> Result<()> {
    let files = gather(source, package)
        .map_err(|error| failed(format!("its files could not be read ({error})")))?;
    let list = list(&files);
    if fs::read(folder.join(LIST)).is_ok_and(|there| there == list.as_bytes()) {
        return Ok(());
    }
    let fresh = folder.with_extension(format!("new-{}", std::process::id()));
    let written = || {
        for (name, bytes) in &files {
            put(&fresh.join(name), bytes)?;
        }
        put(&fresh.join(LIST), list.as_bytes())?;
        if folder.exists() {
            fs::remove_dir_all(folder)?;
        }
        fs::rename(&fresh, folder)
    };
    written().map_err(|error| {
        failed(format!(
            "{} could not be written ({error})",
            folder.display()
        ))
    })
}

/// Every file by its address.
fn gather(source: &Path, package: &Path) -> io::Result<BTreeMap<String, Vec<u8>>> {
    let mut files = BTreeMap::new();
    take(&source.join("www"), "", &mut files, &|_| true)?;
    take(package, "pkg/", &mut files, &|name| {
        name.ends_with(".js") || name.ends_with(".wasm")
    })?;
    take(
        &source.join("sample-scans"),
        "sample-scans/",
        &mut files,
        &|name| name == "samples.json" || SAMPLES.iter().any(|kind| name.ends_with(kind)),
    )?;
    Ok(files)
}

fn take(
    folder: &Path,
    at: &str,
    files: &mut BTreeMap<String, Vec<u8>>,
    wanted: &dyn Fn(&str) -> bool,
) -> io::Result<()> {
    for entry in fs::read_dir(folder)? {
        let entry = entry?;
        let name = entry.file_name().to_string_lossy().into_owned();
        if entry.file_type()?.is_dir() {
            take(&entry.path(), &format!("{at}{name}/"), files, wanted)?;
        } else if wanted(&name) {
            files.insert(format!("{at}{name}"), fs::read(entry.path())?);
        }
    }
    Ok(())
}

/// Names of all files, and a version that changes when any of them does.
fn list(files: &BTreeMap<String, Vec<u8>>) -> String {
    let mut hasher = DefaultHasher::new();
    files.hash(&mut hasher);
    // The folder's own address is the page.
    let names: Vec<&str> = files
        .keys()
        .map(|name| if name == "index.html" { "./" } else { name })
        .collect();
    let site =
        serde_json::json!({ "version": format!("{:016x}", hasher.finish()), "files": names });
    format!("self.SITE = {site:#};\n")
}

/// A file, and where it is text or code also as a browser can take it over the wire.
fn put(path: &Path, bytes: &[u8]) -> io::Result<()> {
    if let Some(folder) = path.parent() {
        fs::create_dir_all(folder)?;
    }
    fs::write(path, bytes)?;
    let Some(kind) = path.extension().and_then(|kind| kind.to_str()) else {
        return Ok(());
    };
    if !COMPRESSED.contains(&kind) {
        return Ok(());
    }
    let beside = |ending: &str| path.with_extension(format!("{kind}.{ending}"));
    let mut brotli =
        brotli::CompressorWriter::new(fs::File::create(beside("br"))?, 1 << 16, 11, 22);
    brotli.write_all(bytes)?;
    brotli.flush()?;
    drop(brotli);
    let gzip = fs::File::create(beside("gz"))?;
    let mut gzip = flate2::write::GzEncoder::new(gzip, flate2::Compression::best());
    gzip.write_all(bytes)?;
    gzip.finish()?.sync_all()
}

fn failed(reason: impl Into<String>) -> Error {
    Error::Outside {
        what: "The page",
        doing: "could not be put together",
        reason: reason.into(),
    }
}
