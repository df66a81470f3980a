//! The `soakmist` command: parse the arguments, call, set the exit code.

fn main() -> std::process::ExitCode {
    soakmist::cli::main()
}
