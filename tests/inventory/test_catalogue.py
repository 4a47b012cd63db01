from django.core.management import call_command

from inventory.models import FACTS_OF_KIND, GearType, GoesWith
from shows.models import Rig
from tests.builders import make_type


def test_the_catalogue_ships_every_kind_with_its_facts(db):
    call_command("load_catalogue", verbosity=0)
    kinds = set(GearType.objects.values_list("kind", flat=True))
    assert kinds == {kind.value for kind in FACTS_OF_KIND}
    assert GearType.objects.count() >= 70
    for gear_type in GearType.objects.all():
        assert gear_type.facts is not None, gear_type
        assert gear_type.facts.source, gear_type
        gear_type.full_clean()
        gear_type.facts.full_clean()


def test_loading_again_changes_nothing_and_keeps_what_the_shop_edited(db):
    call_command("load_catalogue", verbosity=0)
    box = GearType.objects.get(key="active-box")
    box.name, box.mass_g = "Our active box", 777
    box.save()
    before = (GearType.objects.count(), GoesWith.objects.count(), Rig.objects.count())
    call_command("load_catalogue", verbosity=0)
    assert (GearType.objects.count(), GoesWith.objects.count(), Rig.objects.count()) == before
    assert GearType.objects.get(key="active-box").mass_g == 777


def test_a_type_entered_by_hand_under_the_same_name_is_not_doubled(db):
    ours = make_type("lead", name="Microphone lead", notes="ours")
    call_command("load_catalogue", verbosity=0)
    assert GearType.objects.get(name="Microphone lead") == ours
    assert GoesWith.objects.filter(needs=ours).exists()
