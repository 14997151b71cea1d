//! The program as its user meets it, and the rules of the house. One test binary for all.

mod cli;
mod tidy;
