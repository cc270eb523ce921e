"""An invented world of weather, flowers, colonies and scales, whose truth is known.

It stands apart from the forecaster on purpose: nothing here is imported from the package, so what
the forecaster finds in a simulated yard it has found, not been handed. Numbers here describe an
invented world; they are choices that make it look like the real one, never sources of priors.

weather -> flight and flora -> colony -> scales -> yards (the folder a keeper would have).
Every random draw comes from a numpy Generator that is passed in: equal seeds, equal bytes.
"""
