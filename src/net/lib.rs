//! The network that hears the chanter: samples in, log-probabilities of nine notes and none out.
//!
//! It knows its layers and the file of their weights. It knows neither notes by name, nor sample
//! rates, nor where the samples come from. [`Weights`] reads and checks the file, [`Network`] holds
//! the state of one stream, and `product` is the one inner loop.
//!
//! A frame is [`HOP`] samples. What comes out is the same to the bit however the samples are cut
//! into calls, because each sum is added up in one order for every number of frames.

mod layers;
mod product;
mod stream;
mod weights;

pub use stream::Network;
pub use weights::{CLASSES, HOP, NetworkShape, Weights, WeightsError};

#[cfg(test)]
mod laws;
