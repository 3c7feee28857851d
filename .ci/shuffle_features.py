"""Write a FeatureCollection with its features in another order.

    /usr/bin/python3 .ci/shuffle_features.py INPUT.geojson SEED
"""

import json
import random
import sys

with open(sys.argv[1], encoding="utf-8") as f:
    collection = json.load(f)
random.Random(int(sys.argv[2])).shuffle(collection["features"])
json.dump(collection, sys.stdout)
