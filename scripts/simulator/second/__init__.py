"""A second invented world, of other laws: for judging what was learned in the first one.

It shares with the first its weather, its keeper, its scales and the folder of a yard. Flowers, flight
and colonies are its own: no clock, no equation for nectar, no law of flight or of bees is taken over,
so that a forecaster at home in the first world is a stranger here. Written without regard to any
forecaster. Numbers are choices of this world; where one is taken from a publication its source stands
beside it with its mark (READ seen in the source, MEMORY not seen, ASSUMPTION ours).

climates -> flight -> ground -> orchard, honeydew, farmland, herbs, tropics -> flora -> colony
"""
