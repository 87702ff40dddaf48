def test_the_plate_is_proven(plate):
    verdict = plate.judge()
    assert [str(f) for f in verdict.findings] == []
    assert verdict.proven
