//! Remakes `src/film/table.bin`, the tabulated response of one film: `cargo run --release --example make_table`.

fn main() -> std::io::Result<()> {
    let path = concat!(env!("CARGO_MANIFEST_DIR"), "/src/film/table.bin");
    std::fs::write(path, twoground::film::table::make())
}
