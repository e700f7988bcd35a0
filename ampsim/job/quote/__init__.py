"""What a job costs and what must be bought for it: prices, hours, sums, quote, order, invoice. Begin with `sums`."""
