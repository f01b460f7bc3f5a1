//! The exporters' public face: whole packages against the published schemas, and what their items score.
mod engine;
mod samples;
mod schemas;
mod scoring;
