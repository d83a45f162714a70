//! The program. Only this file exits.

fn main() -> std::process::ExitCode {
    std::process::ExitCode::from(cardwright::cli::run(std::env::args_os()))
}
