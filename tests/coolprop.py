"""CoolProp, loaded when a check asks it: 2 s that not every worker has to spend."""


def PropsSI(*asked):
    from CoolProp.CoolProp import PropsSI

    return PropsSI(*asked)
