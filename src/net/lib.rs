//! The neural network that hears the chanter: samples go in, log-probabilities of the nine notes
//! and of no note come out.
//!
//! It knows its layers and the file of their weights. It does not know notes by name, sample rates,
//! or where the samples come from. [`Weights`] reads and checks the file, [`Network`] holds the
//! state of one stream, and `product` is the inner loop.
//!
//! A frame is [`HOP`] samples. The output is the same to the bit however the samples are divided
//! into calls, because each sum is added in one order for every number of frames.

mod layers;
mod product;
mod stream;
mod weights;

pub use stream::Network;
pub use weights::{CLASSES, HOP, NetworkShape, Number, Weights, WeightsError};

#[cfg(test)]
mod laws;
