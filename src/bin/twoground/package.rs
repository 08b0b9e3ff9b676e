//! The browser's half of the program: the library as WebAssembly with its JavaScript bindings, in `target/pkg`.

use std::ffi::OsString;
use std::fs;
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};

use twoground::{Error, Result};

const TARGET: &str = "wasm32-unknown-unknown";

/// The folder that holds this package's source: around this program's own file (`target/release`), or else around the
/// current folder.
pub(crate) fn source_folder() -> Result<PathBuf> {
    let starts = [std::env::current_exe().ok(), std::env::current_dir().ok()];
    starts
        .iter()
        .flatten()
        .flat_map(|start| start.ancestors())
        .find(|folder| is_source(folder))
        .map(Path::to_path_buf)
        .ok_or_else(|| {
            failed("this program is not in its source folder; go to the folder that holds Cargo.toml and www, and run: cargo run --release")
        })
}

fn is_source(folder: &Path) -> bool {
    folder.join("www/index.html").is_file()
        && fs::read_to_string(folder.join("Cargo.toml"))
            .is_ok_and(|text| text.contains("name = \"twoground\""))
}

/// Compiles the library and writes its bindings where they are missing or older. Gives the folder of the package.
pub(crate) fn build(source: &Path) -> Result<PathBuf> {
    add_target_if_missing()?;
    eprintln!("Building the page (the first time takes some minutes).");
    let wasm = compile(source)?;
    // The file lies in TARGET-FOLDER/wasm32-unknown-unknown/wasm/.
    let target_folder = wasm
        .ancestors()
        .nth(3)
        .ok_or_else(|| failed("cargo wrote the WebAssembly to an unexpected place"))?;
    let package = target_folder.join("pkg");
    if !is_newer(&package.join("twoground_bg.wasm"), &wasm) {
        bind(&wasm, &package)?;
    }
    Ok(package)
}

fn add_target_if_missing() -> Result<()> {
    let out = Command::new("rustc")
        .args(["--print", "target-libdir", "--target", TARGET])
        .output()
        .map_err(|error| {
            failed(format!(
                "rustc did not start ({error}); install Rust with rustup and try again"
            ))
        })?;
    if Path::new(String::from_utf8_lossy(&out.stdout).trim()).is_dir() {
        return Ok(());
    }
    eprintln!("Adding Rust's {TARGET} target.");
    match Command::new("rustup")
        .args(["target", "add", TARGET])
        .stdin(Stdio::null())
        .status()
    {
        Ok(status) if status.success() => Ok(()),
        _ => Err(failed(format!(
            "Rust's WebAssembly target is missing; run: rustup target add {TARGET}"
        ))),
    }
}

/// Runs cargo for the library as one WebAssembly module. Gives the module's file.
fn compile(source: &Path) -> Result<PathBuf> {
    let cargo = std::env::var_os("CARGO").unwrap_or_else(|| OsString::from("cargo"));
    let out = Command::new(cargo)
        .current_dir(source)
        .args([
            "rustc",
            "--locked",
            "--lib",
            "--crate-type",
            "cdylib",
            "--profile",
            "wasm",
            "--target",
            TARGET,
        ])
        .args(["--message-format", "json-render-diagnostics"])
        // Either would silently replace the flags in .cargo/config.toml.
        .env_remove("RUSTFLAGS")
        .env_remove("CARGO_ENCODED_RUSTFLAGS")
        .stdin(Stdio::null())
        .stderr(Stdio::inherit())
        .output()
        .map_err(|error| {
            failed(format!(
                "cargo did not start ({error}); install Rust with rustup and try again"
            ))
        })?;
    if !out.status.success() {
        return Err(failed("cargo gave up; its message is above"));
    }
    String::from_utf8_lossy(&out.stdout)
        .lines()
        .filter_map(|line| serde_json::from_str::<serde_json::Value>(line).ok())
        .filter(|message| {
            message["reason"] == "compiler-artifact" && message["target"]["name"] == "twoground"
        })
        .flat_map(|message| message["filenames"].as_array().cloned().unwrap_or_default())
        .filter_map(|name| name.as_str().map(PathBuf::from))
        .find(|name| name.extension().is_some_and(|ext| ext == "wasm"))
        .ok_or_else(|| failed("cargo named no WebAssembly file"))
}

fn is_newer(made: &Path, from: &Path) -> bool {
    let changed = |path: &Path| fs::metadata(path).and_then(|data| data.modified()).ok();
    matches!((changed(made), changed(from)), (Some(made), Some(from)) if made >= from)
}

/// Writes the bindings beside the package and then puts them in its place, so that a page loading meanwhile gets old
/// files or new ones.
fn bind(wasm: &Path, package: &Path) -> Result<()> {
    let fresh = package.with_extension(format!("new-{}", std::process::id()));
    wasm_bindgen_cli_support::Bindgen::new()
        .input_path(wasm)
        .web(true)
        .and_then(|bindgen| {
            bindgen
                .typescript(true)
                .remove_name_section(true)
                .remove_producers_section(true)
                .omit_default_module_path(false)
                .generate(&fresh)
        })
        .map_err(|error| failed(format!("wasm-bindgen said: {error:#}")))?;
    let swap = || {
        if package.exists() {
            fs::remove_dir_all(package)?;
        }
        fs::rename(&fresh, package)
    };
    swap().map_err(|error| {
        failed(format!(
            "{} could not be written ({error})",
            package.display()
        ))
    })
}

fn failed(reason: impl Into<String>) -> Error {
    Error::Outside {
        what: "The page",
        doing: "could not be built",
        reason: reason.into(),
    }
}
