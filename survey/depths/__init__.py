"""Water under the transducer and the range in force, sample by sample."""
