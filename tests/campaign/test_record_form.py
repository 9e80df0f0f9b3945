"""Writing a record leaves it as it is."""

import numpy as np
import pandas as pd

from geochem.campaign.record_form import decode, encode


def test_texts_with_gaps_are_written_twice_and_stay():
    # without pyarrow the column's own array is handed out by pandas
    texts = pd.array(["a", None, "b"], dtype=pd.StringDtype("python", na_value=np.nan))
    table = pd.DataFrame({"notes": texts, "n": [1.0, 2.0, 3.0]})
    first = encode(table)
    assert encode(table) == first
    assert table["notes"].isna().tolist() == [False, True, False]
    assert decode(first)["notes"].isna().tolist() == [False, True, False]
