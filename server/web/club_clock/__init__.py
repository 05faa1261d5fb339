"""The stewards' word on a clock that jumped."""
