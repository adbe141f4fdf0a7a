"""A correction once took the off-ratio hold away: the corrected fill was judged by the state its own draw had left behind."""


def test_a_correction_of_the_weight_keeps_the_hold_for_a_side_that_ran_dry(shop):
    shop.ready_line()
    shop.fill(kg=300)
    shop.hook_up(shop.tote("A"), change="ran dry")
    tire = shop.fill(kg=180)
    fill = shop.book.value("SELECT seq FROM fill WHERE item = ?", tire)
    before = shop.book.tuples("SELECT code FROM finding WHERE item = ? ORDER BY code", tire)
    assert ("possibly off-ratio",) in before
    shop.correct(fill, weight_kg=160)
    assert shop.book.tuples("SELECT code FROM finding WHERE item = ? ORDER BY code", tire) == before
    shop.check()
