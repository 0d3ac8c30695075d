//! A new migration must rebuild the binary that carries it.
fn main() {
    println!("cargo:rerun-if-changed=migrations");
}
