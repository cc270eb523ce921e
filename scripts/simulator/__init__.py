"""An invented world of weather, flowers, colonies and scales, whose truth is known.

It stands apart from the forecaster on purpose: nothing here is imported from the package, so what
the forecaster finds in a simulated yard it has found, not been handed. Numbers here describe an
invented world; they are choices that make it look like the real one, never sources of priors.

weather -> flight and flora -> colony -> keeper -> makers -> scales -> yards (the keeper's folder).
The first world's parts stand here; `second` has flowers, flight and colonies of other laws under the
same weather maker, keeper, scales and folders; `makers` names what the two differ in.
Every random draw comes from a numpy Generator that is passed in: equal seeds, equal bytes.
"""
