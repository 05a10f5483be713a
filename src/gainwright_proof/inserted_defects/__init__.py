"""Known defects of tool and C, inserted one by one: a checker that misses one is not believed.

``gainwright prove --inserted-defects`` and ``python -m gainwright_proof.inserted_defects`` print
the table; :data:`registry.REGISTRY` has them all.
"""
