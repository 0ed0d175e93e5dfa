"""The tests: unit, published figures, integration, browser, benchmarks; fakes and data beside them."""
